"""The commands that plan a passage: they parse, call and print; nothing is computed here."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal, NoReturn

import typer

from routeplan import edges
from routeplan.cli_conditions import (
    STILL_AND_CALM,
    CurrentsOption,
    DaylightOption,
    DepartBetweenOption,
    HoursPerDayOption,
    PictureOption,
    SeaOption,
    StillWaterOption,
    Surroundings,
    read_days,
    read_departures,
    read_surroundings,
)
from routeplan.cli_departures import check_window, print_departures
from routeplan.cli_fuel import GaugeOption, MeterOption, NoLogOption, read_fuel, taught_or_file
from routeplan.cli_papers import (
    NamesOption,
    OverdueOption,
    PaperOption,
    Papers,
    PeopleOption,
    RouteOption,
    SaveOption,
    SheetOption,
    ShoreOption,
    ShortNamesOption,
    tell_short_names,
)
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
    from collections.abc import Sequence
    from datetime import datetime

    from layers.short_names import ShortName
    from routeplan.boats import Boat
    from routeplan.calls import Call
    from routeplan.network import Network
    from routeplan.passage import Passage
    from routeplan.plans import Plan
    from routeplan.teaching import Taught
    from routeplan.trips import Trip

__all__ = ["Asked", "find_answer", "map_page", "passage", "print_passage"]


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
    depart_between: DepartBetweenOption = None,
    picture: PictureOption = None,
    via: Annotated[list[str] | None, typer.Option("--via", help="Place to pass on the way; may be repeated.")] = None,
    speed: Annotated[
        str | None, typer.Option("--speed", help="Speed, such as 24 or 24kn. Default the cruising speed.")
    ] = None,
    confidence: Annotated[
        str, typer.Option("--confidence", help="Share of arrivals that keep the whole reserve, 0.5 to 0.999.")
    ] = "0.9",
    reserve: Annotated[
        str | None, typer.Option("--reserve", help="Reserve for this passage, such as 5gal, in place of the boat's.")
    ] = None,
    berthing: Annotated[
        str, typer.Option("--berthing", help="Time alongside besides pumping, such as 15min.")
    ] = "15min",
    known_docks_only: Annotated[
        bool, typer.Option("--known-docks-only", help="Leave out docks with missing attributes.")
    ] = False,
    confirmed_docks_only: Annotated[
        bool, typer.Option("--confirmed-docks-only", help="Leave out docks that nobody has confirmed for long.")
    ] = False,
    fill: Annotated[
        Literal["full", "enough", "best"],
        typer.Option("--fill", help="To the full mark, the least that the rules demand, or what costs least."),
    ] = "full",
    price_of_time: Annotated[
        str | None,
        typer.Option("--price-of-time", help="What an hour is worth in the region's currency, such as 40."),
    ] = None,
    fill_first: Annotated[bool, typer.Option("--fill-first", help="Fill at the start before leaving.")] = False,
    closed_dock: Annotated[
        Literal["on", "off", "strict"],
        typer.Option("--closed-dock", help="Whether a closed dock must leave a way on; strict: above the reserve."),
    ] = "on",
    prefer: Annotated[
        Literal["soonest", "cheapest", "fewest-stops", "most-margin"] | None,
        typer.Option("--prefer", help="Which plan to recommend."),
    ] = None,
    slower: Annotated[bool, typer.Option("--slower", help="Let each hop be run slower than the speed.")] = False,
    show: Annotated[
        Literal["few", "all"], typer.Option("--show", help="A few plans, or all that none beats in every way.")
    ] = "few",
    call_ahead: Annotated[
        bool, typer.Option("--call-ahead", help="List whom to call before leaving, and what to ask for.")
    ] = False,
    currents: CurrentsOption = None,
    still_water: StillWaterOption = False,
    sea: SeaOption = None,
    daylight: DaylightOption = None,
    hours_per_day: HoursPerDayOption = None,
    map_file: MapOption = None,
    layers_file: Annotated[
        Path | None, typer.Option("--layers", help="Write the plan's layers for a GIS: .gpkg or a folder.")
    ] = None,
    save: SaveOption = None,
    sheet: SheetOption = None,
    paper: PaperOption = "a4",
    people: PeopleOption = None,
    names: NamesOption = None,
    shore_contact: ShoreOption = None,
    overdue: OverdueOption = None,
    route: RouteOption = None,
    short_names: ShortNamesOption = None,
    meter_at_departure: Annotated[
        str | None,
        typer.Option("--meter-at-departure", help="What the meter shows when leaving, if it isn't reset: 12.3gal."),
    ] = None,
    under_keel: UnderKeel = None,
    overhead: Overhead = None,
    stand_off: StandOff = None,
    planing_stand_off: PlaningStandOff = None,
    poor_survey_stand_off: PoorSurveyStandOff = None,
    fairways: Annotated[
        bool, typer.Option("--fairways", help="Prefer marked fairways, where they are longer by a quarter at the most.")
    ] = False,
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
    from routeplan.fuel import read_confidence, with_reserve
    from routeplan.log_use import what_it_taught, whole_address
    from routeplan.quantities import read_speed_kn
    from routeplan.trips import Trip, read_berthing_h, read_price_of_time

    now = edges.now()
    papers = Papers(
        sheets=sheet or (),
        paper=paper,
        routes=route or (),
        short_names=short_names,
        save=save,
        people=people,
        names=names,
        shore_contact=shore_contact,
        overdue=overdue,
    )
    papers.check()
    price_per_h = None if price_of_time is None else read_price_of_time(price_of_time, "--price-of-time")
    if show == "all" and fill != "full":
        _refuse_together("--show", "all", f"--fill {fill} has one best plan", "leave one of them out")
    light, longest_day_h = read_days(daylight, hours_per_day)
    files = {"--map": map_file, "--layers": layers_file} | papers.wanted
    one_plan = {**files, "--show": show if show == "all" else None, "--call-ahead": call_ahead or None}
    check_window(depart_between, depart, picture, [name for name, value in one_plan.items() if value is not None])
    margins = given_margins(
        under_keel,
        overhead,
        stand_off,
        snap,
        planing_stand_off,
        poor_survey_stand_off,
        allow_unsurveyed=allow_unsurveyed,
        fairways=fairways,
    )
    share = read_confidence(confidence, "--confidence")
    the_boat = read_boat(boat)
    file_digest = the_boat.digest
    if reserve is not None:
        the_boat = with_reserve(the_boat, reserve, "--reserve")
    taught = taught_or_file(the_boat, log, no_log=no_log)
    trip_aboard, found = read_fuel(the_boat, taught, given, meter, gauge, share)
    if fill_first and trip_aboard.mean_l >= taught.boat.tank.full_mark_l:
        _refuse_together("--fill-first", trip_aboard.how, "she is filled to the mark already", "leave --fill-first out")
    the_region = read_region(region, skip_bad_docks=skip_bad_docks)
    surroundings = read_surroundings(
        the_region, taught.boat, None if no_log else taught.lesson, currents, sea, still_water=still_water
    )
    leaves, last = read_departures(depart, depart_between, the_region.zone, now)
    trip = Trip(
        start=start,
        finish=finish,
        via=tuple(via or ()),
        depart=leaves,
        aboard=trip_aboard,
        speed_kn=None if speed is None else read_speed_kn(speed, "--speed"),
        confidence=share,
        berthing_h=read_berthing_h(berthing, "--berthing"),
        known_docks_only=known_docks_only,
        confirmed_docks_only=confirmed_docks_only,
        fill=fill,
        price_of_time_per_h=price_per_h,
        closed_dock=closed_dock,
        fill_first=fill_first,
        prefer=prefer,
        slower=slower,
        daylight=light,
        hours_per_day_h=longest_day_h,
    )
    network = find_network(the_region, the_boat, margins, trip.depart, cached=not no_cache)
    wished = margins != margins.plain
    plain = find_network(the_region, the_boat, margins.plain, trip.depart, cached=not no_cache) if wished else None
    shows_l = _meter_at_departure(the_boat, meter_at_departure, meter, fill_first=fill_first)
    said = [*([] if found is None else found.findings), *filter(None, [what_it_taught(taught)]), *surroundings.notes]
    asked = Asked(
        network,
        trip,
        now,
        taught.boat,
        every=show == "all",
        call_ahead=call_ahead,
        as_json=as_json,
        plain=plain,
        surroundings=surroundings,
    )
    if last is not None:
        print_departures(asked, last, said, picture)
        return
    answer = find_answer(asked, said, [name for name, file in files.items() if file is not None])
    where = (str(region.absolute()), str(boat.absolute()), whole_address(log))
    made_with = _MadeWith(taught, shows_l, where, file_digest)
    shortened = _write_files(answer, asked, papers, made_with, map_file, layers_file)
    if found is not None and not found.agree and not as_json:
        edges.say("\n".join([*(wrapped(f"! {line}") for line in found.findings), ""]))
    print_passage(answer, asked)
    tell_short_names(shortened)
    if save is not None:
        typer.echo("Underway: routeplan underway --at POSITION --meter READING", err=True)


@dataclass(frozen=True)
class Asked:
    """What was asked for, and how it is to be told.

    Parameters
    ----------
    network
        Built for the boat.
    trip
        What is asked.
    now
        The clock.
    boat
        With the burn to plan with.
    every
        Whether all plans that none beats are told.
    call_ahead
        Whether whom to call is told.
    as_json
        Whether one document is printed.
    plain
        The network without what may make a way longer at the skipper's wish; None where nothing was wished.
    surroundings
        Currents and sea.
    """

    network: Network
    trip: Trip
    now: datetime
    boat: Boat
    every: bool = False
    call_ahead: bool = False
    as_json: bool = False
    plain: Network | None = None
    surroundings: Surroundings = STILL_AND_CALM

    def calls(self, plan: Plan | None) -> tuple[Call, ...] | None:
        """List whom to call for a plan.

        Parameters
        ----------
        plan
            The plan; None where there is none.

        Returns
        -------
        None where nobody asked.
        """
        from routeplan.calls import find_calls

        return find_calls(plan) if plan is not None and self.call_ahead else None


def _meter_at_departure(
    boat: Boat, given: str | None, meter: str | None, *, fill_first: bool
) -> tuple[float, ...] | None:
    """[l] Read what the meters show at departure; None where they are reset there."""
    from routeplan.instrument_texts import read_meters

    if given is not None and fill_first:
        _refuse_together(
            "--meter-at-departure", given, "the meters are reset at the fill before leaving", "leave it out"
        )
    text, option = (given, "--meter-at-departure") if given is not None else (meter, "--meter")
    if text is None or fill_first:
        return None
    shown = read_meters(text, boat, option)[0]
    return tuple(value for value in shown if value is not None) or None


@dataclass(frozen=True)
class _MadeWith:
    """What a plan was made with beside its network."""

    taught: Taught
    shows_l: tuple[float, ...] | None
    files: tuple[str, str, str | None]
    boat_digest: str


def _write_files(
    answer: Passage,
    asked: Asked,
    papers: Papers,
    made_with: _MadeWith,
    map_file: Path | None,
    layers_file: Path | None,
) -> tuple[ShortName, ...]:
    """Write every file that was asked for, or none; return which names were shortened."""
    from layers.files import replaced_file
    from routeplan.helm_marks import find_helm, start_meter
    from routeplan.saved_plans import keep_plan

    shortened: tuple[ShortName, ...] = ()
    with contextlib.ExitStack() as drafts:
        if papers.wanted:
            helm = find_helm(answer, answer.recommended, start_meter(made_with.taught, made_with.shows_l))
            saved = keep_plan(answer, helm, asked.now, files=made_with.files, boat_digest=made_with.boat_digest)
            shortened = drafts.enter_context(papers.written(saved, answer.network.region))
        if map_file is not None:
            draft = drafts.enter_context(replaced_file(edges.named(map_file, "--map")))
            draft.write_text(map_page(answer), encoding="utf-8")
        if layers_file is not None:
            _write_layers(answer, layers_file)
    return shortened


def _refuse_together(option: str, value: str, problem: str, remedy: str) -> NoReturn:
    from layers.errors import InputError

    raise InputError(option, problem, value=value, remedy=remedy)


def find_answer(asked: Asked, notes: Sequence[str], unwritten: Sequence[str] = ()) -> Passage:
    """Plan; where there is no plan, say so and leave.

    Parameters
    ----------
    asked
        What was asked for.
    notes
        What else is to be said with the plans.
    unwritten
        Options whose files aren't written where there is no plan.

    Returns
    -------
    The plans.

    Raises
    ------
    Exit
        No plan keeps the rules: it was told why.
    """
    from routeplan.console import tell_refusal
    from routeplan.documents import refusal_document
    from routeplan.passage import find_passage
    from routeplan.plan_words import PlanWords
    from routeplan.plans import NoPassageError

    network, trip, boat = asked.network, asked.trip, asked.boat
    if asked.every and trip.slower:
        typer.echo("All plans at every speed: this may take minutes ...", err=True)
    try:
        return find_passage(
            network,
            trip,
            now=asked.now,
            boat=boat,
            notes=notes,
            every=asked.every,
            plain=asked.plain,
            currents=asked.surroundings.currents,
            sea=asked.surroundings.sea,
        )
    except NoPassageError as error:
        calls = asked.calls(error.refusal.offered)
        if asked.as_json:
            edges.print_json(refusal_document(error, network.region, boat, trip, calls))
        else:
            speed_kn = boat.cruising_speed_kn if trip.speed_kn is None else trip.speed_kn
            words = PlanWords(boat, network.region.zone, network.region.about.currency, speed_kn)
            edges.say(tell_refusal(error, words, trip, calls))
        if unwritten:
            names = " and ".join(unwritten)
            typer.echo(f"routeplan: nothing was written for {names}, as no plan keeps the rules", err=True)
        raise typer.Exit(3) from error


def map_page(answer: Passage) -> str:
    """Draw the recommended plan as a page.

    Parameters
    ----------
    answer
        The plans.

    Returns
    -------
    One HTML document.
    """
    import maps
    from routeplan.drawn import layers_of
    from routeplan.plan_words import PlanWords

    region, plan = answer.network.region, answer.recommended
    words = PlanWords(answer.boat, region.zone, region.about.currency, answer.speed_kn)
    rule = [words.rule_line(plan)] if plan.stops else []
    if plan.leans_on:
        rule.append(f"It leans on {'; '.join(plan.leans_on)}: make sure before you leave")
    longer = filter(None, [words.longer_line(plan, answer.network.water)])
    notes = [*words.summary_lines(plan), *longer, *rule, *(f"Or {p.name}: {p.difference}" for p in answer.others_told)]
    title = f"{answer.boat.name}: {plan.legs[0].from_} to {plan.legs[-1].to}"
    cautions = (*answer.cautions, *plan.cautions)
    page = maps.draw(
        region, layers_of(answer), title=title, notes=notes, cautions=cautions, lengths=words.units.short_length
    )
    return str(page.html())


def _write_layers(answer: Passage, path: Path) -> None:
    from layers import write_layers
    from routeplan.drawn import layers_of

    write_layers(layers_of(answer), edges.named(path, "--layers"))


def print_passage(answer: Passage, asked: Asked) -> None:
    """Print the plans, as a document or in words.

    Parameters
    ----------
    answer
        The plans.
    asked
        How they are to be told.
    """
    from routeplan.console import tell_passage
    from routeplan.documents import passage_document

    calls = asked.calls(answer.recommended)
    if asked.as_json:
        edges.print_json(passage_document(answer, calls))
    else:
        edges.say(tell_passage(answer, every=asked.every, calls=calls))
