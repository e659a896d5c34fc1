"""The commands about regions: build one from files of open formats, check it, show it."""

from __future__ import annotations

import os
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Annotated, Any

import typer

from routeplan import edges
from routeplan.cli_water import (
    NoCache,
    Overhead,
    SkipBadDocks,
    Snap,
    StandOff,
    UnderKeel,
    Unsurveyed,
    find_network,
    given_margins,
)
from routeplan.edges import JsonOption, MapOption

__all__ = ["regions"]

regions = typer.Typer(help="Build, check and show a region.", no_args_is_help=False, rich_markup_mode=None)


@regions.command("build")
def region_build(
    out: Annotated[Path, typer.Argument(help="Where to write it: a folder, or a GeoPackage (.gpkg).")],
    sources: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="SOURCE",
            help="Files (GeoJSON, GeoPackage, Shapefile, FlatGeobuf, KML, GPX, CSV), folders of them or of S-57.",
        ),
    ] = None,
    recipe: Annotated[
        Path | None, typer.Option("--recipe", help="What each source is, where a guess won't do.")
    ] = None,
    extent: Annotated[
        str | None, typer.Option("--extent", help="'west south east north' in degrees, or 'corner to corner'.")
    ] = None,
    name: Annotated[str | None, typer.Option("--name", help="What to call it; default after OUT.")] = None,
    time_zone: Annotated[
        str | None, typer.Option("--time-zone", help="The zone that hours are in: Europe/Lisbon.")
    ] = None,
    currency: Annotated[str | None, typer.Option("--currency", help="What prices are in: EUR.")] = None,
    chart_datum: Annotated[str | None, typer.Option("--chart-datum", help="What depths are counted from.")] = None,
    clearance_datum: Annotated[
        str | None, typer.Option("--clearance-datum", help="What clearances are counted from.")
    ] = None,
    today: Annotated[
        str | None, typer.Option("--today", help="Day to judge ages from, 2026-07-01; default the computer's.")
    ] = None,
    write_recipe: Annotated[
        Path | None, typer.Option("--write-recipe", help="Write what was guessed as a recipe, to change it.")
    ] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Tell what was guessed, and write no region.")] = False,
    replace: Annotated[bool, typer.Option("--replace", help="Replace a region that is there.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Build a region from files of open formats: each guess is told with its reason, each fault with its row."""
    from layers import InputError, add_sources, assemble, check_target, guess_recipe, write_region
    from routeplan.console import Progress
    from routeplan.region_words import build_document, guess_document, tell_built, tell_guesses

    edges.named(out, "OUT")
    if not sources and recipe is None and out.exists():
        remedy = f"routeplan region build my-waters {out}"
        raise InputError("SOURCE", "is missing: OUT, the name of what is written, comes first", remedy=remedy)
    day = _day(today) if today else edges.now().date()
    given = _given(recipe, out, extent, name, time_zone, currency, chart_datum, clearance_datum)
    if not dry_run:
        check_target(out, replace=replace)
    whole, passed = add_sources(given, sources or ())
    _keep_apart(out, [source.file for source in whole.sources])
    _keep_recipe(write_recipe, [source.file for source in whole.sources], replace=replace)
    guessed = guess_recipe(whole)
    if dry_run:
        text = _write_recipe(guessed.recipe, write_recipe)
        if as_json:
            guesses = [guess_document(guess) for guess in guessed.guesses]
            unsaid = [asdict(each) for each in guessed.unsaid]
            document = {"schema": "routeplan/region-guess/1", "tables": guesses, "unsaid": unsaid, "recipe": text}
            edges.print_json(document)
        else:
            edges.say(tell_guesses(guessed.guesses, text, guessed.unsaid))
        return
    progress = Progress("building the region")
    try:
        built = assemble(whole, today=day, guessed=guessed, passed_over=passed, progress=progress)
    finally:
        progress.close()
    write_region(built.region, out)
    _write_recipe(built.recipe, write_recipe)
    if as_json:
        edges.print_json(build_document(built, out, wrote=True))
    else:
        edges.say(tell_built(built, out, wrote=True))


@regions.command("check")
def region_check(
    path: Annotated[Path, typer.Argument(help="Region: a folder with region.toml, or a GeoPackage.")],
    boat: Annotated[
        Path | None,
        typer.Option("--boat", help="Look with this boat's eyes; default the smallest that is planned for."),
    ] = None,
    map_file: MapOption = None,
    strict: Annotated[bool, typer.Option("--strict", help="Exit 2 on findings too.")] = False,
    skip_bad_docks: SkipBadDocks = False,
    as_json: JsonOption = False,
) -> None:
    """Tell whether a region can be trusted: every bad row at once, then what is doubtful, the gravest first."""
    from layers import InputError, read_region
    from routeplan.boats import read_boat
    from routeplan.trust import look_at_trust
    from routeplan.trust_words import (
        findings_layer,
        map_notes,
        tell_strictly,
        tell_trust,
        trust_document,
        verdict_title,
    )

    _refuse_sources(path)
    the_boat = None if boat is None else read_boat(boat)
    the_region = read_region(path, skip_bad_docks=skip_bad_docks)
    trust = look_at_trust(the_region, today=edges.now().astimezone(the_region.zone).date(), boat=the_boat)
    if map_file is not None:
        import maps
        from routeplan.cautions import SAFETY_CAUTIONS

        page = maps.draw(
            the_region,
            {"findings": findings_layer(the_region, trust)},
            title=verdict_title(the_region, trust),
            notes=map_notes(trust),
            cautions=SAFETY_CAUTIONS,
            lengths=trust.boat.units.short_length,
        )
        page.save(edges.named(map_file, "--map"))
    if strict and trust.findings:
        raise InputError(str(path), tell_strictly(trust), remedy="routeplan region check lists them all")
    if as_json:
        edges.print_json(trust_document(the_region, trust))
    else:
        edges.say(tell_trust(the_region, trust))


@regions.command("show")
def region_show(
    path: Annotated[Path, typer.Argument(help="Region: a folder with region.toml, or a GeoPackage.")],
    boat: Annotated[
        Path | None, typer.Option("--boat", help="Look with this boat's eyes: closed channels, docks out of reach.")
    ] = None,
    map_file: MapOption = None,
    under_keel: UnderKeel = None,
    overhead: Overhead = None,
    stand_off: StandOff = None,
    snap: Snap = None,
    allow_unsurveyed: Unsurveyed = False,
    skip_bad_docks: SkipBadDocks = False,
    no_cache: NoCache = False,
    as_json: JsonOption = False,
) -> None:
    """Show what a region holds, and for a boat which channels are closed and which places can't be reached."""
    from layers import find_doubts, read_region
    from routeplan.boats import read_boat
    from routeplan.console import tell_region
    from routeplan.documents import region_document
    from routeplan.drawn import closed_water_layer, dock_layer
    from routeplan.network import unreached_docks
    from routeplan.survey import look_at_docks, look_at_water
    from routeplan.words import Words

    margins = given_margins(under_keel, overhead, stand_off, snap, allow_unsurveyed=allow_unsurveyed)
    _refuse_sources(path)
    the_boat = None if boat is None else read_boat(boat)
    the_region = read_region(path, skip_bad_docks=skip_bad_docks)
    doubts = find_doubts(the_region, today=edges.now().astimezone(the_region.zone).date())
    drawn: dict[str, Any] = {}
    document: dict[str, Any] = {}
    lines: list[str] = []
    if the_boat is not None:
        network = find_network(the_region, the_boat, margins, None, cached=not no_cache)
        document, lines = look_at_water(network)
        found, _, _ = look_at_docks(network, None, edges.now())
        words = Words(the_boat, the_region.zone, the_region.about.currency)
        drawn = {
            "closed_water": closed_water_layer(network.water, the_boat),
            "dock_marks": dock_layer(found, words, unreached_docks(network)),
        }
    if map_file is not None:
        import maps
        from routeplan.cautions import SAFETY_CAUTIONS

        lengths = "m" if the_boat is None else the_boat.units.short_length
        page = maps.draw(the_region, drawn, title=the_region.about.name, cautions=SAFETY_CAUTIONS, lengths=lengths)
        page.save(edges.named(map_file, "--map"))
    if as_json:
        edges.print_json(region_document(the_region, doubts, document))
    else:
        edges.say(tell_region(the_region, doubts, lines))


def _given(
    recipe: Path | None,
    out: Path,
    extent: str | None,
    name: str | None,
    time_zone: str | None,
    currency: str | None,
    chart_datum: str | None,
    clearance_datum: str | None,
) -> Any:  # layers.Recipe
    """Take a recipe and what options say over it."""
    from layers import Recipe, read_recipe
    from routeplan.extent_texts import read_extent

    base = Recipe() if recipe is None else read_recipe(recipe)
    options = {
        "name": name,
        "time_zone": time_zone,
        "currency": currency,
        "chart_datum": chart_datum,
        "clearance_datum": clearance_datum,
        "extent": None if extent is None else read_extent(extent, "--extent"),
    }
    told = {key: value for key, value in options.items() if value is not None}
    if base.name is None and name is None:
        told["name"] = out.resolve().stem
    return base.model_copy(update=told)


def _day(text: str) -> date:
    from layers import InputError

    try:
        return date.fromisoformat(text.strip())
    except ValueError as error:
        raise InputError("--today", "is no date", value=text, remedy="write it as 2026-07-01") from error


def _keep_apart(out: Path, files: list[str]) -> None:
    """Refuse to read from where the region is to be written."""
    from layers import InputError

    target = Path(os.path.realpath(out))
    for file in files:
        source = Path(os.path.realpath(file))
        if source.is_relative_to(target) or (target.suffix.lower() != ".gpkg" and target == source):
            remedy = "keep sources in a folder of their own"
            raise InputError(str(out), "is to be written, and a source lies in it", value=file, remedy=remedy)


def _keep_recipe(path: Path | None, files: list[str], *, replace: bool) -> None:
    """Refuse to write a recipe over a source, or over what somebody may have changed by hand."""
    from layers import InputError

    if path is None or not path.exists():
        return
    if os.path.realpath(path) in {os.path.realpath(file) for file in files}:
        raise InputError("--write-recipe", "names one of the sources", value=path, remedy="choose another name")
    if not replace:
        remedy = "choose another name, or add --replace"
        raise InputError("--write-recipe", "names a file that is there already", value=path, remedy=remedy)


def _refuse_sources(path: Path) -> None:
    """Refuse a folder of charts or files that no region has been built from yet."""
    from layers import InputError

    if path.is_dir() and not (path / "region.toml").exists() and any(path.iterdir()):
        problem = "has no region.toml, so that it is no region"
        raise InputError(str(path), problem, remedy=f"build one from what is in it: routeplan region build NAME {path}")


def _write_recipe(recipe: Any, path: Path | None) -> str:
    """Return a recipe's text, with files as seen from where it lies; write it where that was asked for."""
    from layers import write_recipe
    from layers.files import replaced_file

    folder = Path.cwd() if path is None else Path(os.path.realpath(path)).parent
    seen = [
        source.model_copy(update={"file": Path(os.path.relpath(source.file, folder)).as_posix()})
        for source in recipe.sources
    ]
    text = write_recipe(recipe.model_copy(update={"sources": tuple(seen)}))
    if path is not None:
        with replaced_file(edges.named(path, "--write-recipe")) as draft:
            draft.write_text(text, encoding="utf-8")
    return text
