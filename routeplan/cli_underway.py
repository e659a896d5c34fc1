"""The commands at sea: where the boat stands and what to do. They parse, call and print."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from routeplan import edges
from routeplan.cli_fuel import NoLogOption, taught_or_file
from routeplan.cli_papers import (
    PaperOption,
    Papers,
    RouteOption,
    SaveOption,
    SheetOption,
    ShortNamesOption,
    tell_short_names,
)
from routeplan.cli_water import NoCache, find_network
from routeplan.edges import JsonOption, LogOption

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from layers import Region
    from routeplan.boats import Boat
    from routeplan.gpx_runs import TrackRuns
    from routeplan.passage import Passage
    from routeplan.saved_plans import Report, SavedPlan
    from routeplan.teaching import Taught
    from routeplan.underway_state import AskedUnderway

__all__ = ["PlanOption", "open_plan", "underway"]

PlanOption = Annotated[
    Path | None, typer.Option("--plan", envvar="ROUTEPLAN_PLAN", help="Saved plan; default the one saved last.")
]
OtherRegion = Annotated[Path | None, typer.Option("--region", help="Region, in place of the one that the plan names.")]
OtherBoat = Annotated[Path | None, typer.Option("--boat", help="Boat file, in place of the one that the plan names.")]


def underway(
    at: Annotated[
        str | None, typer.Option("--at", help="Where she is: '44 12.5N 38 03.2W', or a place's name.")
    ] = None,
    meter: Annotated[
        str | None, typer.Option("--meter", help="What the dial shows: 31.2, both together, or 15.4+15.8.")
    ] = None,
    gauge: Annotated[str | None, typer.Option("--gauge", help="What the gauge shows: 44gal, 3/8 or 40%.")] = None,
    when: Annotated[
        str | None, typer.Option("--when", help="When it was read, region's time: 10:05. Default now.")
    ] = None,
    filled: Annotated[
        bool, typer.Option("--filled", help="She was just filled to the mark here and the meters reset.")
    ] = False,
    took: Annotated[
        str | None, typer.Option("--took", help="How much she just took here in a part fill, meters reset: 11.2gal.")
    ] = None,
    not_reset: Annotated[
        bool, typer.Option("--not-reset", help="The meters weren't reset at the last fill, and ran on.")
    ] = False,
    passed_by: Annotated[
        bool, typer.Option("--passed-by", help="Planned stops up to here were passed without filling.")
    ] = False,
    meter_was: Annotated[
        str | None, typer.Option("--meter-was", help="What the dial showed when it was reset underway.")
    ] = None,
    sure: Annotated[bool, typer.Option("--sure", help="The dial's reading is right though it looks wrong.")] = False,
    track: Annotated[
        list[Path] | None,
        typer.Option("--track", help="Today's recorded track, GPX; gives speeds, and --at if left out."),
    ] = None,
    plan: PlanOption = None,
    replan: Annotated[bool, typer.Option("--replan", help="Plan anew from here even if the old plan stands.")] = False,
    save: SaveOption = None,
    sheet: SheetOption = None,
    paper: PaperOption = "a4",
    route: RouteOption = None,
    short_names: ShortNamesOption = None,
    arrived: Annotated[
        str | None,
        typer.Option("--arrived", help="The passage is over: enter it in the log. When: now, 15:47, 2026-07-01T15:47."),
    ] = None,
    departed: Annotated[
        str | None, typer.Option("--departed", help="With --arrived: when she left, if not as planned.")
    ] = None,
    distance: Annotated[
        str | None,
        typer.Option("--distance", help="Distance run since the last fill-up or departure, such as 60nmi."),
    ] = None,
    hours: Annotated[
        str | None, typer.Option("--hours", help="With --arrived: engine hours since the last fill-up.")
    ] = None,
    sea: Annotated[
        str | None, typer.Option("--sea", help="With --arrived: calm, smooth, slight, moderate, rough, very rough.")
    ] = None,
    people: Annotated[str | None, typer.Option("--people", help="With --arrived: how many were aboard.")] = None,
    note: Annotated[str | None, typer.Option("--note", help="With --arrived: anything else.")] = None,
    no_note: Annotated[bool, typer.Option("--no-note", help="Don't note this report in the plan's file.")] = False,
    region: OtherRegion = None,
    boat: OtherBoat = None,
    log: LogOption = None,
    no_log: NoLogOption = False,
    no_cache: NoCache = False,
    as_json: JsonOption = False,
) -> None:
    """Tell where she stands against her plan, what fuel is left, and what to do; or enter the passage in the log."""
    from routeplan.cli_arrived import enter_passage
    from routeplan.console import wrapped
    from routeplan.documents import underway_document
    from routeplan.instrument_texts import gauge_step_l
    from routeplan.quantities import read_distance_nmi
    from routeplan.saved_plans import differences, read_when
    from routeplan.typed_finish import TypedFinish
    from routeplan.typed_reports import TypedReport, read_report
    from routeplan.underway import find_underway
    from routeplan.underway_state import AskedUnderway
    from routeplan.underway_words import tell_underway

    now = edges.now()
    path = _plan_path(plan)
    papers = Papers(sheets=sheet or (), paper=paper, routes=route or (), short_names=short_names, save=save)
    then = {"--departed": departed, "--hours": hours, "--sea": sea, "--people": people, "--note": note}
    never: dict[str, object] = {"--gauge": gauge, "--when": when, "--meter-was": meter_was, "--took": took}
    never |= {"--filled": filled, "--not-reset": not_reset, "--passed-by": passed_by, "--replan": replan}
    never |= {"--no-note": no_note, "--short-names": short_names, **papers.wanted}
    _refuse_mixed(arrived, then, never)
    if arrived is not None:
        over = TypedFinish(arrived, at, departed, meter, distance, hours, tuple(track or ()), sea, people, note, sure)
        enter_passage(over, path, boat, log, as_json=as_json)
        return
    papers.check()
    if papers.wanted and meter is None and not filled and took is None:
        _refuse_without_dial(next(iter(papers.wanted)))
    saved, the_region, file_boat = open_plan(path, region, boat)
    _refuse_closed(saved, path)
    taught = taught_or_file(file_boat, saved.log if log is None else log, no_log=no_log)
    moment = now if when is None else read_when(when, "--when", saved, now)
    runs = _runs(track or [], saved, taught, moment)
    network = find_network(the_region, saved.boat, saved.margins, moment, cached=not no_cache)
    typed = TypedReport(at, meter, gauge, meter_was, took, filled=filled, not_reset=not_reset, sure=sure)
    report = read_report(typed, saved, network, runs, moment)
    asked = AskedUnderway(
        saved,
        network,
        taught,
        report,
        0.0 if gauge is None else gauge_step_l(gauge, saved.boat),
        runs,
        None if distance is None else read_distance_nmi(distance, "--distance"),
        passed_by=passed_by,
        sure=sure,
        replan=replan or papers.wanted != {},
    )
    answer, passage = find_underway(asked)
    if papers.wanted:
        _write_new_plan(papers, saved, passage, asked, now)
    told = differences(saved, the_region, file_boat)
    if as_json:
        edges.print_json(underway_document(answer, saved, told))
    else:
        lines = tell_underway(answer, saved, told, the_region.about.variation_deg, str(path))
        if answer.replan is not None and not papers.wanted:
            lines.append("Keep the new plan with --save FILE.json, print it with --sheet, take it along with --route.")
        edges.say("\n".join(wrapped(line) if line else "" for line in lines))
    if not no_note and not saved.is_older and path.resolve() not in {p.resolve() for p in papers.wanted.values()}:
        _note(report, path)
    if answer.advice.kind == "short":
        raise typer.Exit(3)


def open_plan(path: Path, region: Path | None, boat: Path | None) -> tuple[SavedPlan, Region, Boat]:
    """Open a saved plan with the region and the boat that it names, or others in their place.

    Parameters
    ----------
    path
        The plan.
    region, boat
        Files in place of those that it names; None for those.

    Returns
    -------
    The plan, the region, and the boat as her file says now; where that is gone, as the plan holds her.

    Raises
    ------
    InputError
        One of them can't be read, or the plan names no region that is there.
    """
    from layers import read_region
    from layers.errors import InputError
    from routeplan.boats import read_boat
    from routeplan.saved_plans import read_plan

    given = None if boat is None else read_boat(boat)
    saved = read_plan(path, given)
    where = region if region is not None else Path(saved.region.file)
    if region is None and (not saved.region.file or not where.exists()):
        problem = f"the region that {path} was made with isn't there"
        raise InputError("--region", problem, value=saved.region.file or None, remedy="add --region")
    if given is None:
        given = read_boat(saved.boat_file) if saved.boat_file and Path(saved.boat_file).exists() else saved.boat
    return saved, read_region(where, skip_bad_docks=True), given


def _refuse_without_dial(option: str) -> NoReturn:
    from layers.errors import InputError

    problem = "needs --meter: the new plan counts from what the dial shows now"
    raise InputError(option, problem, remedy="read the dial, or leave it out")


def _refuse_closed(saved: SavedPlan, path: Path) -> None:
    from layers.errors import InputError
    from routeplan.moments import shown_moment

    if saved.closed is None:
        return
    entered = shown_moment(saved.closed, saved.zone)
    problem = f"this passage is over: it was entered in the log {entered}"
    raise InputError("--plan", problem, value=str(path), remedy="name the plan that she follows")


def _refuse_mixed(arrived: str | None, only_then: Mapping[str, object], never_then: Mapping[str, object]) -> None:
    """Refuse options of a passage that is over where it isn't, and the other way round."""
    from layers.errors import InputError

    wrong = never_then if arrived is not None else only_then
    for option, given in wrong.items():
        if given is not None and given is not False:
            problem = "says nothing of a passage that is over" if arrived is not None else "goes with --arrived only"
            raise InputError(option, problem, value=None if given is True else given, remedy="leave one of them out")


def _plan_path(plan: Path | None) -> Path:
    from routeplan.plan_files import followed_plan

    return followed_plan() if plan is None else edges.named(plan, "--plan")


def _runs(paths: Sequence[Path], saved: SavedPlan, taught: Taught, moment: datetime) -> TrackRuns | None:
    if not paths:
        return None
    from routeplan.gpx_runs import read_runs
    from routeplan.spent_fuel import begun_at

    return read_runs(paths, saved.boat, after=begun_at(saved, taught.fillups, moment), until=moment)


def _write_new_plan(
    papers: Papers, saved: SavedPlan, passage: Passage | None, asked: AskedUnderway, now: datetime
) -> None:
    """Write the papers of the plan from here."""
    from layers.errors import InputError
    from routeplan.helm_marks import find_helm, start_meter
    from routeplan.saved_plans import keep_plan
    from routeplan.underway import run_before

    if passage is None:
        raise InputError(next(iter(papers.wanted)), "there is no new plan from here to write", remedy="leave it out")
    helm = find_helm(passage, passage.recommended, start_meter(asked.taught, asked.report.shows_l))
    files = (saved.region.file, saved.boat_file, saved.log)
    kept = keep_plan(passage, helm, now, files=files, boat_digest=saved.boat_digest)
    kept = kept.model_copy(update={"crew": saved.crew, "before": run_before(asked)})
    with papers.written(kept, passage.network.region) as shortened:
        pass
    tell_short_names(shortened)


def _note(report: Report, path: Path) -> None:
    """Note the report in the plan's file; where that can't be, say so and go on."""
    from layers.errors import InputError
    from routeplan.plan_files import note_report

    try:
        note_report(path, report)
    except InputError as error:
        typer.echo(f"routeplan: this report wasn't noted: {error}", err=True)
