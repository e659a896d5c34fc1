"""The command line: it parses, calls and prints; nothing is computed here.

Exit codes: 0 done; 2 bad input, one clear line on stderr and nothing on stdout; 3 no plan keeps the rules.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from routeplan import edges
from routeplan.cli_fillup import fillups
from routeplan.cli_fuel import (
    GaugeOption,
    MeterOption,
    NoLogOption,
    aboard,
    advice,
    boat_learn,
    read_fuel,
    taught_or_file,
)
from routeplan.edges import BoatOption, JsonOption, LogOption, MapOption, RegionOption

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from layers import Region
    from routeplan.boats import Boat
    from routeplan.network import Network
    from routeplan.passage import Passage
    from routeplan.trips import Trip
    from routeplan.water import Margins

__all__ = ["app", "main"]

app = typer.Typer(
    name="routeplan",
    help="Fuel aboard, range and refuel stops for fast outboard day boats. An aid to planning, not for navigation.",
    no_args_is_help=False,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
boats = typer.Typer(help="Look at a boat file.", no_args_is_help=False, rich_markup_mode=None)
regions = typer.Typer(help="Look at a region.", no_args_is_help=False, rich_markup_mode=None)
app.add_typer(boats, name="boat")
app.add_typer(regions, name="region")
app.add_typer(fillups, name="fillup")
app.command("aboard")(aboard)
boats.command("learn")(boat_learn)
fillups.command("advice")(advice)

UnderKeel = Annotated[str | None, typer.Option("--under-keel", help="Least water under the keel, such as 0.5m or 2ft.")]
Overhead = Annotated[str | None, typer.Option("--overhead", help="Least air under bridges and cables, such as 0.5m.")]
StandOff = Annotated[
    str | None, typer.Option("--stand-off", help="Distance kept from land and closed water, such as 50m.")
]
Snap = Annotated[
    str | None, typer.Option("--snap", help="How far a place may lie from navigable water, such as 0.5nmi.")
]
Unsurveyed = Annotated[
    bool, typer.Option("--allow-unsurveyed", help="Use water without charted depth, at your own judgement.")
]
SkipBadDocks = Annotated[bool, typer.Option("--skip-bad-docks", help="Leave out docks whose hours can't be read.")]
NoCache = Annotated[bool, typer.Option("--no-cache", help="Build the network anew and keep nothing.")]


@app.command()
def passage(  # one parameter an option
    start: Annotated[str, typer.Argument(metavar="FROM", help="Dock, waypoint or position: '44 12.5N 38 03.2W'.")],
    finish: Annotated[str, typer.Argument(metavar="TO", help="The same.")],
    region: RegionOption,
    boat: BoatOption,
    given: Annotated[
        str | None, typer.Option("--aboard", help="Fuel aboard: full, 71gal, 71gal±3gal, 270l; or --meter and --gauge.")
    ] = None,
    meter: MeterOption = None,
    gauge: GaugeOption = None,
    log: LogOption = None,
    no_log: NoLogOption = False,
    depart: Annotated[
        str | None, typer.Option("--depart", help="Departure, region's time: 2026-07-01T08:00. Default now.")
    ] = None,
    via: Annotated[list[str] | None, typer.Option("--via", help="Place to pass on the way; may be repeated.")] = None,
    speed: Annotated[
        str | None, typer.Option("--speed", help="Speed, such as 24 or 24kn. Default the cruising speed.")
    ] = None,
    confidence: Annotated[
        str, typer.Option("--confidence", help="Share of arrivals that keep the whole reserve, 0.5 to 0.999.")
    ] = "0.9",
    berthing: Annotated[
        str, typer.Option("--berthing", help="Time alongside besides pumping, such as 15min.")
    ] = "15min",
    known_docks_only: Annotated[
        bool, typer.Option("--known-docks-only", help="Leave out docks with missing attributes.")
    ] = False,
    map_file: MapOption = None,
    layers_file: Annotated[
        Path | None, typer.Option("--layers", help="Write the plan's layers for a GIS: .gpkg or a folder.")
    ] = None,
    under_keel: UnderKeel = None,
    overhead: Overhead = None,
    stand_off: StandOff = None,
    snap: Snap = None,
    allow_unsurveyed: Unsurveyed = False,
    skip_bad_docks: SkipBadDocks = False,
    no_cache: NoCache = False,
    as_json: JsonOption = False,
) -> None:
    """Plan a run over water, with refuel stops so that no arrival touches the reserve."""
    from layers import read_region
    from routeplan.boats import read_boat
    from routeplan.console import wrapped
    from routeplan.fuel import read_confidence
    from routeplan.log_use import what_it_taught
    from routeplan.quantities import read_speed_kn
    from routeplan.trips import Trip, read_berthing_h, read_departure

    now = edges.now()
    margins = _margins(under_keel, overhead, stand_off, snap, allow_unsurveyed=allow_unsurveyed)
    share = read_confidence(confidence, "--confidence")
    the_boat = read_boat(boat)
    taught = taught_or_file(the_boat, log, no_log=no_log)
    trip_aboard, found = read_fuel(the_boat, taught, given, meter, gauge, share)
    speed_kn = None if speed is None else read_speed_kn(speed, "--speed")
    berthing_h = read_berthing_h(berthing, "--berthing")
    the_region = read_region(region, skip_bad_docks=skip_bad_docks)
    trip = Trip(
        start=start,
        finish=finish,
        via=tuple(via or ()),
        depart=now if depart is None else read_departure(depart, the_region.zone, "--depart"),
        aboard=trip_aboard,
        speed_kn=speed_kn,
        confidence=share,
        berthing_h=berthing_h,
        known_docks_only=known_docks_only,
    )
    network = _network(the_region, the_boat, margins, trip.depart, cached=not no_cache)
    said = [*([] if found is None else found.findings), *filter(None, [what_it_taught(taught)])]
    answer = _answer(network, trip, now, as_json=as_json, boat=taught.boat, notes=said)
    with contextlib.ExitStack() as drafts:  # both files or neither
        if map_file is not None:
            _draw(answer, map_file, drafts)
        if layers_file is not None:
            _write_layers(answer, layers_file)
    if found is not None and not found.agree and not as_json:
        edges.say("\n".join([*(wrapped(f"! {line}") for line in found.findings), ""]))
    _print_passage(answer, as_json=as_json)


@app.command()
def docks(
    region: RegionOption,
    boat: BoatOption,
    origin: Annotated[str | None, typer.Option("--from", help="Place to count distances over water from.")] = None,
    suitable: Annotated[bool, typer.Option("--suitable", help="Only docks that suit the boat.")] = False,
    under_keel: UnderKeel = None,
    overhead: Overhead = None,
    stand_off: StandOff = None,
    snap: Snap = None,
    allow_unsurveyed: Unsurveyed = False,
    skip_bad_docks: SkipBadDocks = False,
    no_cache: NoCache = False,
    as_json: JsonOption = False,
) -> None:
    """Tell what is known of each fuel dock, how stale it is, and how far it is over water."""
    from layers import read_region
    from routeplan.boats import read_boat
    from routeplan.console import tell_docks
    from routeplan.documents import docks_document
    from routeplan.network import unreached_docks
    from routeplan.survey import look_at_docks
    from routeplan.words import Words

    margins = _margins(under_keel, overhead, stand_off, snap, allow_unsurveyed=allow_unsurveyed)
    the_boat = read_boat(boat)
    the_region = read_region(region, skip_bad_docks=skip_bad_docks)
    network = _network(the_region, the_boat, margins, None, cached=not no_cache)
    found, distances, name = look_at_docks(network, origin, edges.now(), only_suitable=suitable)
    if as_json:
        edges.print_json(docks_document(found, the_region, the_boat, distances))
    else:
        words = Words(the_boat, the_region.zone, the_region.about.currency)
        edges.say(tell_docks(found, words, distances, name, unreached_docks(network)))


@boats.command("check")
def boat_check(
    file: Annotated[Path, typer.Argument(help="Boat file (TOML).")],
    as_json: JsonOption = False,
) -> None:
    """Check a boat file: every fault at once, or what was understood."""
    from routeplan.boats import read_boat

    the_boat = read_boat(file)
    if as_json:
        edges.print_json(
            {
                "schema": "routeplan/boat-check/1",
                "file": str(file),
                "boat": the_boat.model_dump(mode="json"),
                "faults": [],
            }
        )
    else:
        units = the_boat.units
        edges.say(
            f"{file}: good. {the_boat.name}: capacity {units.echo_volume(the_boat.tank.capacity_l)}, full mark "
            f"{units.echo_volume(the_boat.tank.full_mark_l)}, unusable {units.echo_volume(the_boat.tank.unusable_l)}, "
            f"reserve {units.echo_volume(the_boat.reserve_l)}."
        )


@boats.command("show")
def boat_show(
    file: Annotated[Path, typer.Argument(help="Boat file (TOML).")],
    given: Annotated[str, typer.Option("--aboard", help="Fuel aboard: full, 71gal, 71gal±3gal, 270l.")] = "full",
    confidence: Annotated[
        str, typer.Option("--confidence", help="Share of arrivals that keep the whole reserve.")
    ] = "0.9",
    log: LogOption = None,
    no_log: NoLogOption = False,
    as_json: JsonOption = False,
) -> None:
    """Show a boat's capacity, usable fuel, and range at each speed, with the burn as the log teaches it."""
    from routeplan.boats import read_boat
    from routeplan.console import tell_boat
    from routeplan.documents import boat_document
    from routeplan.fuel import read_aboard, read_confidence
    from routeplan.log_use import what_it_taught
    from routeplan.survey import ranges_at_each_speed

    taught = taught_or_file(read_boat(file), log, no_log=no_log)
    the_boat = taught.boat
    amount = read_aboard(given, the_boat, "--aboard")
    share = read_confidence(confidence, "--confidence")
    ranges = ranges_at_each_speed(the_boat, amount, share)
    if as_json:
        edges.print_json(boat_document(the_boat, amount, ranges))
    else:
        edges.say("\n".join(filter(None, [tell_boat(the_boat, amount, share, ranges), what_it_taught(taught)])))


@regions.command("check")
def region_check(
    path: Annotated[Path, typer.Argument(help="Region: a folder with region.toml, or a GeoPackage.")],
    strict: Annotated[bool, typer.Option("--strict", help="Exit 2 on findings too.")] = False,
    skip_bad_docks: SkipBadDocks = False,
    as_json: JsonOption = False,
) -> None:
    """Check a region: every bad row at once, then what is doubtful."""
    from layers import InputError, find_doubts, read_region
    from routeplan.console import tell_region
    from routeplan.documents import region_document

    the_region = read_region(path, skip_bad_docks=skip_bad_docks)
    doubts = find_doubts(the_region, today=edges.now().astimezone(the_region.zone).date())
    if strict and doubts:
        first = doubts[0]
        more = f", and {len(doubts) - 1} more" if len(doubts) > 1 else ""
        row = f" row {first.row}" if first.row else ""
        raise InputError(
            str(path),
            f"{first.layer}{row}{f' ({first.name})' if first.name else ''}: {first.problem}{more}",
            remedy="routeplan region check lists them all",
        )
    if as_json:
        edges.print_json(region_document(the_region, doubts))
    else:
        edges.say(tell_region(the_region, doubts))


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

    margins = _margins(under_keel, overhead, stand_off, snap, allow_unsurveyed=allow_unsurveyed)
    the_boat = None if boat is None else read_boat(boat)
    the_region = read_region(path, skip_bad_docks=skip_bad_docks)
    doubts = find_doubts(the_region, today=edges.now().astimezone(the_region.zone).date())
    drawn: dict[str, Any] = {}
    document: dict[str, Any] = {}
    lines: list[str] = []
    if the_boat is not None:
        network = _network(the_region, the_boat, margins, None, cached=not no_cache)
        document, lines = look_at_water(network)
        found, _, _ = look_at_docks(network, None, edges.now())
        words = Words(the_boat, the_region.zone, the_region.about.currency)
        drawn = {
            "closed_water": closed_water_layer(network.water, the_boat),
            "dock_marks": dock_layer(found, words, unreached_docks(network)),
        }
    if map_file is not None:
        import maps
        from routeplan.passage import SAFETY_CAUTIONS

        lengths = "m" if the_boat is None else the_boat.units.short_length
        page = maps.draw(the_region, drawn, title=the_region.about.name, cautions=SAFETY_CAUTIONS, lengths=lengths)
        page.save(edges.named(map_file, "--map"))
    if as_json:
        edges.print_json(region_document(the_region, doubts, document))
    else:
        edges.say(tell_region(the_region, doubts, lines))


@app.command()
def demo(
    out: Annotated[Path, typer.Option("--out", help="Folder for the plan and the map.")] = Path("routeplan-demo"),
) -> None:
    """Learn from the demo boat's log, plan her long run, and write plan, map and what was learnt into a folder."""
    import demo_region
    from layers import read_region
    from layers.files import replaced_file
    from routeplan.boats import read_boat
    from routeplan.console import wrapped
    from routeplan.documents import passage_document
    from routeplan.fuel import read_aboard
    from routeplan.learn_page import build_page
    from routeplan.log_use import taught_by, what_it_taught
    from routeplan.teaching import sharpened
    from routeplan.trips import Trip, read_departure
    from routeplan.water import Margins

    story, data = demo_region.story(), demo_region.data_folder()
    the_boat = read_boat(data / story.boat)
    taught = taught_by(the_boat, str(data / story.log))
    the_region = read_region(data)
    depart = read_departure(story.depart, the_region.zone, "--depart")
    full = read_aboard(story.aboard, taught.boat, "--aboard")
    trip = Trip(start=story.start, finish=story.finish, depart=depart, aboard=full)
    network = _network(the_region, the_boat, Margins(), depart, cached=True)
    answer = _answer(network, trip, depart, as_json=False, boat=taught.boat, notes=[what_it_taught(taught)])
    with contextlib.ExitStack() as drafts:  # all files or none
        draft = drafts.enter_context(replaced_file(out / "passage.json"))
        draft.write_text(json.dumps(passage_document(answer), indent=1, allow_nan=False) + "\n", encoding="utf-8")
        page = build_page(taught.lesson, sharpened(taught), the_region.zone)
        drafts.enter_context(replaced_file(out / "learn.html")).write_text(page, encoding="utf-8")
        _draw(answer, out / "passage.html", drafts)
    _print_passage(answer, as_json=False)
    edges.say("\n" + wrapped(f"What to see here: {story.why}"))
    edges.say(f"\nThe plan is in {out / 'passage.json'}, the map in {out / 'passage.html'},")
    edges.say(f"what {the_boat.name}'s log of {taught.lesson.fillups} fill-ups teaches in {out / 'learn.html'}.")
    edges.say("Open map and page in any browser, no network needed.")


def main() -> None:
    """Run the command line; every error leaves as one clear line and its exit code."""
    from layers.errors import RouteplanError

    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a console that lacks a letter still gets its answer
    try:
        # A southern latitude is no option: a blank before the minus tells typer so, and readers strip it.
        words = [f" {word}" if re.match(r"-\.?\d", word) else word for word in sys.argv[1:]]
        code = app(args=words, prog_name="routeplan", standalone_mode=False)
    except typer.Exit as done:
        code = done.exit_code
    except typer.Abort:
        code = _fail("stopped", 130)
    except typer.TyperException as error:
        code = _fail(_usage(error), 2)
    except KeyboardInterrupt:
        code = _fail("stopped", 130)
    except RouteplanError as error:
        code = _fail(str(error), 2)
    except Exception as error:  # the one place where nothing may escape as a traceback
        if os.environ.get("ROUTEPLAN_DEBUG"):
            raise
        code = _fail(
            f"a fault of ours: {type(error).__name__}: {error}; please report it, ROUTEPLAN_DEBUG=1 tells more", 1
        )
    sys.exit(code or 0)


def _usage(error: Any) -> str:  # typer's exception
    context = getattr(error, "ctx", None)
    where = context.command_path if context else "routeplan"
    return f"{where}: {' '.join(error.format_message().split())} (see {where} --help)"


def _fail(line: str, code: int) -> int:
    print(f"routeplan: {line}" if not line.startswith("routeplan") else line, file=sys.stderr)
    return code


def _margins(
    under_keel: str | None, overhead: str | None, stand_off: str | None, snap: str | None, *, allow_unsurveyed: bool
) -> Margins:
    from routeplan.quantities import read_distance_nmi, read_length_m
    from routeplan.water import read_margins

    given = {
        "under_keel_m": None if under_keel is None else read_length_m(under_keel, "--under-keel"),
        "overhead_m": None if overhead is None else read_length_m(overhead, "--overhead"),
        "standoff_m": None if stand_off is None else read_length_m(stand_off, "--stand-off"),
        "snap_nmi": None if snap is None else read_distance_nmi(snap, "--snap"),
    }
    return read_margins({k: v for k, v in given.items() if v is not None}, allow_unsurveyed=allow_unsurveyed)


def _network(region: Region, boat: Boat, margins: Margins, when: datetime | None, *, cached: bool) -> Network:
    from routeplan.building import build_network
    from routeplan.cache import cache_folder
    from routeplan.console import Progress

    progress = Progress(f"Building the network of {region.about.name} for {boat.name}")
    try:
        return build_network(
            region, boat, margins, when=when, cache=cache_folder() if cached else None, progress=progress
        )
    finally:
        progress.close()


def _answer(
    network: Network, trip: Trip, now: datetime, *, as_json: bool, boat: Boat | None = None, notes: Sequence[str] = ()
) -> Passage:
    from routeplan.console import tell_refusal
    from routeplan.documents import refusal_document
    from routeplan.passage import find_passage
    from routeplan.plans import NoPassageError

    try:
        return find_passage(network, trip, now=now, boat=boat, notes=notes)
    except NoPassageError as error:
        if as_json:
            edges.print_json(refusal_document(error, network.region, network.boat))
        else:
            edges.say(tell_refusal(error))
        raise typer.Exit(3) from error


def _draw(answer: Passage, path: Path, drafts: contextlib.ExitStack) -> None:
    """Draw a map into a draft, which takes its place when all that belongs to it has been written."""
    import maps
    from layers.files import replaced_file
    from routeplan.drawn import layers_of
    from routeplan.words import Words

    region, plan = answer.network.region, answer.recommended
    words = Words(answer.boat, region.zone, region.about.currency)
    notes = [*words.summary_lines(plan), *(f"Or {p.name}: {p.difference}" for p in answer.plans[1:])]
    title = f"{answer.boat.name}: {plan.legs[0].from_} to {plan.legs[-1].to}"
    cautions = (*answer.cautions, *plan.cautions)
    page = maps.draw(
        region, layers_of(answer), title=title, notes=notes, cautions=cautions, lengths=words.units.short_length
    )
    drafts.enter_context(replaced_file(edges.named(path, "--map"))).write_text(page.html(), encoding="utf-8")


def _write_layers(answer: Passage, path: Path) -> None:
    from layers import write_layers
    from routeplan.drawn import layers_of

    write_layers(layers_of(answer), edges.named(path, "--layers"))


def _print_passage(answer: Passage, *, as_json: bool) -> None:
    from routeplan.console import tell_passage
    from routeplan.documents import passage_document

    if as_json:
        edges.print_json(passage_document(answer))
    else:
        edges.say(tell_passage(answer))
