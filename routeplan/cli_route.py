"""The command that holds a route from a file against water and fuel: it parses, calls and prints."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from layers.errors import InputError
from routeplan import edges
from routeplan.cli_fuel import GaugeOption, MeterOption, NoLogOption, read_fuel, taught_or_file
from routeplan.cli_papers import Papers, RouteOption, SaveOption, SheetOption, ShortNamesOption, tell_short_names
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
from routeplan.edges import BoatOption, JsonOption, LogOption, RegionOption

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from layers.short_names import ShortName
    from routeplan.passage import Passage
    from routeplan.route_checked import RouteCheck
    from routeplan.teaching import Taught

__all__ = ["routes"]

routes = typer.Typer(help="Check a route from a plotter.", no_args_is_help=False, rich_markup_mode=None)


@routes.command("check")
def route_check(  # one parameter an option
    file: Annotated[Path, typer.Argument(metavar="FILE.gpx", help="Route (GPX).")],
    region: RegionOption,
    boat: BoatOption,
    given: Annotated[
        str | None, typer.Option("--aboard", help="Fuel aboard: full, 71gal, 71gal±3gal, 270l; or --meter and --gauge.")
    ] = None,
    meter: MeterOption = None,
    gauge: GaugeOption = None,
    log: LogOption = None,
    no_log: NoLogOption = False,
    route_name: Annotated[
        str | None, typer.Option("--route-name", help="Which route of the file, by its name or number.")
    ] = None,
    depart: Annotated[
        str | None, typer.Option("--depart", help="Departure, region's time: 2026-07-01T08:00. Default now.")
    ] = None,
    speed: Annotated[
        str | None, typer.Option("--speed", help="Speed, such as 24 or 24kn. Default the cruising speed.")
    ] = None,
    confidence: Annotated[
        str, typer.Option("--confidence", help="Share of arrivals that keep the whole reserve, 0.5 to 0.999.")
    ] = "0.9",
    reserve: Annotated[
        str | None, typer.Option("--reserve", help="Reserve for this passage, such as 5gal, in place of the boat's.")
    ] = None,
    as_it_stands: Annotated[
        bool, typer.Option("--as-it-stands", help="Only check: don't look for stops and for ways round.")
    ] = False,
    sheet: SheetOption = None,
    route_files: RouteOption = None,
    short_names: ShortNamesOption = None,
    save: SaveOption = None,
    under_keel: UnderKeel = None,
    overhead: Overhead = None,
    stand_off: StandOff = None,
    snap: Snap = None,
    allow_unsurveyed: Unsurveyed = False,
    skip_bad_docks: SkipBadDocks = False,
    no_cache: NoCache = False,
    as_json: JsonOption = False,
) -> None:
    """Check a route as it stands for water, fuel and reserve; where it won't do, plan by its points with stops."""
    from layers import read_region
    from layers.route_reading import read_route
    from routeplan.boats import read_boat
    from routeplan.console import wrapped
    from routeplan.fuel import read_confidence, with_reserve
    from routeplan.given_routes import check_route
    from routeplan.given_stops import plan_route
    from routeplan.log_use import what_it_taught
    from routeplan.quantities import read_speed_kn
    from routeplan.route_words import route_check_document, tell_route
    from routeplan.trips import Trip, read_departure

    now = edges.now()
    papers = Papers(sheets=tuple(sheet or ()), routes=tuple(route_files or ()), short_names=short_names, save=save)
    papers.check()
    if as_it_stands and papers.wanted:
        _refuse_papers(next(iter(papers.wanted)))
    margins = given_margins(under_keel, overhead, stand_off, snap, allow_unsurveyed=allow_unsurveyed)
    share = read_confidence(confidence, "--confidence")
    the_route = read_route(file, route_name)
    file_boat = read_boat(boat)
    the_boat = file_boat if reserve is None else with_reserve(file_boat, reserve, "--reserve")
    taught = taught_or_file(the_boat, log, no_log=no_log)
    aboard, found = read_fuel(the_boat, taught, given, meter, gauge, share)
    speed_kn = None if speed is None else read_speed_kn(speed, "--speed")
    the_region = read_region(region, skip_bad_docks=skip_bad_docks)
    trip = Trip(
        start=the_route.points[0].name,
        finish=the_route.points[-1].name,
        depart=now if depart is None else read_departure(depart, the_region.zone, "--depart"),
        aboard=aboard,
        speed_kn=speed_kn,
        confidence=share,
    )
    network = find_network(the_region, the_boat, margins, trip.depart, cached=not no_cache)
    said = [*([] if found is None else found.findings), *filter(None, [what_it_taught(taught)])]
    check = check_route(network, the_route, trip, boat=taught.boat, now=now)
    check = check.model_copy(update={"cautions": (*check.cautions, *said)})
    passage = None
    if (not check.good or papers.wanted) and not as_it_stands:
        check, passage = plan_route(
            network, the_route, trip, check, boat=taught.boat, now=now, notes=said, where=str(file)
        )
    shortened: Sequence[ShortName] = ()
    if papers.wanted and passage is not None:
        files = (str(region.absolute()), str(boat.absolute()), log)
        shortened = _write_papers(papers, passage, taught, meter, files, file_boat.digest, now)
    if as_json:
        edges.print_json(route_check_document(check, the_region, share, aboard))
    else:
        if found is not None and not found.agree:
            edges.say("\n".join([*(wrapped(f"! {line}") for line in found.findings), ""]))
        edges.say(tell_route(check, taught.boat, the_region, aboard))
    tell_short_names(shortened)
    _leave(check, () if passage is not None else tuple(papers.wanted))


def _write_papers(
    papers: Papers,
    passage: Passage,
    taught: Taught,
    meter: str | None,
    files: tuple[str, str, str | None],
    boat_digest: str,
    now: datetime,
) -> Sequence[ShortName]:
    """Write what was asked for, all of it or nothing; return which names were shortened."""
    from routeplan.helm_marks import find_helm, start_meter
    from routeplan.instrument_texts import read_meters
    from routeplan.saved_plans import keep_plan

    shown = () if meter is None else read_meters(meter, taught.boat, "--meter")[0]
    shows_l = tuple(value for value in shown if value is not None) or None
    helm = find_helm(passage, passage.recommended, start_meter(taught, shows_l))
    saved = keep_plan(passage, helm, now, files=files, boat_digest=boat_digest)
    with papers.written(saved, passage.network.region) as names:
        return names


def _leave(check: RouteCheck, unwritten: Sequence[str]) -> None:
    """Say what wasn't written, and leave by the code that says whether the route will do, and all was written."""
    if unwritten:
        why = "no stops could be planned" if check.no_plan else "no plan keeps the rules"
        typer.echo(f"routeplan: nothing was written for {' and '.join(unwritten)}, as {why}", err=True)
    if unwritten or not check.good:
        raise typer.Exit(3)


def _refuse_papers(option: str) -> NoReturn:
    raise InputError(option, "is made of a plan, and --as-it-stands looks for none", remedy="leave one of them out")
