"""The command that tells how far a boat can go: it parses, calls and prints; nothing is computed here."""

from __future__ import annotations

import contextlib
import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from layers.errors import InputError
from routeplan import edges
from routeplan.cli_fuel import GaugeOption, MeterOption, NoLogOption, read_fuel, taught_or_file
from routeplan.cli_water import (
    NoCache,
    Overhead,
    PlaningStandOff,
    PoorSurveyStandOff,
    SkipBadDocks,
    Snap,
    StandOff,
    UnderKeel,
    Unsurveyed,
    find_network,
    given_margins,
)
from routeplan.edges import BoatOption, JsonOption, LogOption, MapOption, RegionOption

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from routeplan.boats import Boat
    from routeplan.network import Network
    from routeplan.outings import Outing
    from routeplan.reach import Reach

__all__ = ["reach"]

_LONGEST_H = 48.0  # [h] who is out for longer plans a passage
_WIDEST_NMI = 1000.0  # [nmi] of a range ring: beyond it a figure is a slip
_KINDS = ("dock", "harbour", "anchorage")
_MOST_SPEEDS, _MOST_RINGS = 6, 12


def reach(  # one parameter an option
    start: Annotated[str, typer.Argument(metavar="FROM", help="Dock, waypoint or position: '44 12.5N 38 03.2W'.")],
    region: RegionOption,
    boat: BoatOption,
    given: Annotated[
        str | None, typer.Option("--aboard", help="Fuel aboard: full, 71gal, 71gal±3gal, 270l; or --meter and --gauge.")
    ] = None,
    meter: MeterOption = None,
    gauge: GaugeOption = None,
    log: LogOption = None,
    no_log: NoLogOption = False,
    out_and_back: Annotated[
        bool, typer.Option("--out-and-back", help="Count the way back: places and areas there and back only.")
    ] = False,
    time: Annotated[
        str | None,
        typer.Option(
            "--time", help="What can be done within this time, such as 3h; with --out-and-back there and back."
        ),
    ] = None,
    fuel: Annotated[
        str | None, typer.Option("--fuel", help="What can be done within this much fuel, such as 20gal; likewise.")
    ] = None,
    speed: Annotated[
        list[str] | None,
        typer.Option("--speed", help="Speed, such as 24 or 24kn; may be repeated, the first one is chosen."),
    ] = None,
    confidence: Annotated[
        str, typer.Option("--confidence", help="Share of arrivals that keep the whole reserve, 0.5 to 0.999.")
    ] = "0.9",
    reserve: Annotated[
        str | None, typer.Option("--reserve", help="Reserve for this outing, such as 5gal, in place of the boat's.")
    ] = None,
    depart: Annotated[
        str | None, typer.Option("--depart", help="Departure, region's time: 2026-07-01T08:00. Default now.")
    ] = None,
    ring: Annotated[
        list[str] | None, typer.Option("--ring", help="Plain circle to draw, such as 10nmi; may be repeated.")
    ] = None,
    kind: Annotated[
        list[str] | None,
        typer.Option("--kind", help="Which places to tell: dock, harbour, anchorage; may be repeated. Default all."),
    ] = None,
    sort: Annotated[
        Literal["distance", "time", "margin", "name"], typer.Option("--sort", help="Order of the places.")
    ] = "distance",
    refuel_only: Annotated[
        bool, typer.Option("--refuel-only", help="Only places where she could refuel, for sure or perhaps.")
    ] = False,
    map_file: MapOption = None,
    guest_file: Annotated[
        Path | None, typer.Option("--guest-page", help="Write a page for guests to this HTML file; no network needed.")
    ] = None,
    layers_file: Annotated[
        Path | None, typer.Option("--layers", help="Write the reach's layers for a GIS: .gpkg or a folder.")
    ] = None,
    under_keel: UnderKeel = None,
    overhead: Overhead = None,
    stand_off: StandOff = None,
    planing_stand_off: PlaningStandOff = None,
    poor_survey_stand_off: PoorSurveyStandOff = None,
    snap: Snap = None,
    allow_unsurveyed: Unsurveyed = False,
    skip_bad_docks: SkipBadDocks = False,
    no_cache: NoCache = False,
    as_json: JsonOption = False,
) -> None:
    """Tell how far she can go over water and back, to which places, and where to turn for the last dock."""
    from layers import read_region
    from routeplan.boats import read_boat
    from routeplan.console import wrapped
    from routeplan.documents import reach_document
    from routeplan.fuel import read_confidence, with_reserve
    from routeplan.log_use import what_it_taught
    from routeplan.outings import Outing
    from routeplan.picking import pick_places
    from routeplan.reach_console import tell_reach
    from routeplan.trips import read_departure

    now = edges.now()
    files = _named({"--map": map_file, "--guest-page": guest_file, "--layers": layers_file})
    margins = given_margins(
        under_keel,
        overhead,
        stand_off,
        snap,
        planing_stand_off,
        poor_survey_stand_off,
        allow_unsurveyed=allow_unsurveyed,
    )
    share = read_confidence(confidence, "--confidence")
    time_h = None if time is None else _read_time_h(time)
    speeds_kn = _read_speeds_kn(speed or ())
    kinds = _read_kinds(kind or ())
    the_boat = read_boat(boat)
    if reserve is not None:
        the_boat = with_reserve(the_boat, reserve, "--reserve")
    fuel_l = None if fuel is None else _read_fuel_l(fuel, the_boat)
    taught = taught_or_file(the_boat, log, no_log=no_log)
    aboard, found = read_fuel(the_boat, taught, given, meter, gauge, share)
    the_region = read_region(region, skip_bad_docks=skip_bad_docks)
    outing = Outing(
        start=start,
        aboard=aboard,
        depart=now if depart is None else read_departure(depart, the_region.zone, "--depart"),
        speeds_kn=speeds_kn,
        confidence=share,
        out_and_back=out_and_back,
        time_h=time_h,
        fuel_l=fuel_l,
        rings_nmi=_read_rings_nmi(ring or ()),
    )
    network = find_network(the_region, the_boat, margins, outing.depart, cached=not no_cache)
    said = [*([] if found is None else found.findings), *filter(None, [what_it_taught(taught)])]
    answer = _answer(network, outing, taught.boat, now, said, files, as_json=as_json)
    _write(answer, files)  # whole: what is picked below is picked for the list alone
    everything = len(answer.places)
    picked = pick_places(answer.places, kinds, refuel_only=refuel_only, order=sort)
    answer = dataclasses.replace(answer, places=picked)
    if as_json:
        edges.print_json(reach_document(answer), compact=True)
        return
    if found is not None and not found.agree:
        edges.say("\n".join([*(wrapped(f"! {line}") for line in found.findings), ""]))
    edges.say(tell_reach(answer, everything - len(answer.places)))


def _answer(
    network: Network,
    outing: Outing,
    boat: Boat,
    now: datetime,
    notes: Sequence[str],
    files: Mapping[str, Path],
    *,
    as_json: bool,
) -> Reach:
    """Find the reach; where there is none, say so and leave."""
    from routeplan.console import Progress
    from routeplan.documents import reach_refusal_document
    from routeplan.reach import find_reach
    from routeplan.reach_console import tell_no_reach
    from routeplan.reached import NoReachError

    progress = Progress(f"Working out how far {boat.name} gets")
    try:
        return find_reach(network, outing, now=now, boat=boat, notes=notes, progress=progress)
    except NoReachError as error:
        if as_json:
            edges.print_json(reach_refusal_document(error, network.region, boat, outing))
        else:
            edges.say(tell_no_reach(error))
        if files:
            typer.echo(f"routeplan: nothing was written for {' and '.join(files)}, as nothing is in reach", err=True)
        raise typer.Exit(3) from error
    finally:
        progress.close()


def _named(files: Mapping[str, Path | None]) -> dict[str, Path]:
    """Keep the files that are wanted; refuse one name for two of them, before the work."""
    wanted = {option: path for option, path in files.items() if path is not None}
    taken: dict[Path, str] = {}
    for option, path in wanted.items():
        whole = edges.named(path, option).absolute()
        if whole in taken:
            raise InputError(option, f"names the same file as {taken[whole]}", value=str(path), remedy="name another")
        taken[whole] = option
    return wanted


def _read_time_h(text: str) -> float:
    from routeplan.quantities import read_duration_h

    time_h = read_duration_h(text, "--time")
    if not 0 < time_h <= _LONGEST_H:
        raise InputError(
            "--time", f"must be above 0 and {_LONGEST_H:g} h at the most", value=text, remedy="such as 3h or 1h30"
        )
    return time_h


def _read_fuel_l(text: str, boat: Boat) -> float:
    from routeplan.quantities import read_volume_l

    fuel_l = read_volume_l(text, "--fuel", bare=boat.units.volume_unit)
    most_l = boat.tank.capacity_l
    if not 0 < fuel_l <= most_l:
        holds = f"{boat.units.echo_volume(most_l)}, what {boat.name}'s tank holds"
        raise InputError("--fuel", f"must be above 0 and at the most {holds}", value=text, remedy="check its unit")
    return fuel_l


def _read_rings_nmi(texts: Sequence[str]) -> tuple[float, ...]:
    from routeplan.quantities import read_distance_nmi

    rings = []
    for text in texts:
        ring_nmi = read_distance_nmi(text, "--ring")
        if not 0 < ring_nmi <= _WIDEST_NMI:
            problem = f"must be above 0 and {_WIDEST_NMI:g} nmi at the most"
            raise InputError("--ring", problem, value=text, remedy="such as 10nmi")
        rings.append(ring_nmi)
    return _few("--ring", rings, _MOST_RINGS)


def _read_speeds_kn(texts: Sequence[str]) -> tuple[float, ...]:
    from routeplan.quantities import read_speed_kn

    speeds_kn = [read_speed_kn(text, "--speed") for text in texts]
    for text, speed_kn in zip(texts, speeds_kn, strict=True):
        if speed_kn <= 0:
            raise InputError("--speed", "must be above 0", value=text, remedy="choose a speed of her burn table")
    return _few("--speed", speeds_kn, _MOST_SPEEDS)


def _read_kinds(texts: Sequence[str]) -> tuple[str, ...]:
    kinds = tuple(dict.fromkeys(text.strip().casefold() for text in texts))
    for kind in kinds:
        if kind not in _KINDS:
            raise InputError("--kind", f"is none of {', '.join(_KINDS)}", value=kind)
    return kinds


def _few(option: str, values: Sequence[float], most: int) -> tuple[float, ...]:
    """Keep each value once, in the order given."""
    once = tuple(dict.fromkeys(values))
    if len(once) > most:
        raise InputError(option, f"is given {len(once)} times", remedy=f"give {most} at the most")
    return once


def _write(answer: Reach, files: Mapping[str, Path]) -> None:
    """Write what was asked for: all files or none."""
    from layers import write_layers
    from layers.files import replaced_file
    from routeplan.reach_layers import layers_of_reach

    with contextlib.ExitStack() as drafts:
        for option, draw in (("--map", _map_page), ("--guest-page", _guest_page)):
            if option in files:
                draft = drafts.enter_context(replaced_file(files[option]))
                draft.write_text(draw(answer), encoding="utf-8")
        if "--layers" in files:
            write_layers(layers_of_reach(answer), files["--layers"])


def _map_page(answer: Reach) -> str:
    import maps
    from routeplan.reach_layers import layers_of_reach
    from routeplan.reach_words import ReachWords

    words = ReachWords(answer)
    page = maps.draw(
        answer.network.region,
        layers_of_reach(answer, every_speed=False),
        title=words.title,
        notes=words.summary_lines(),
        cautions=answer.cautions,
        lengths=words.units.short_length,
        volumes=words.units.volume_unit,
    )
    return str(page.html())


def _guest_page(answer: Reach) -> str:
    from routeplan.guest_page import guest_page

    return guest_page(answer)
