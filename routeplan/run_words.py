"""What is said of runs in the log: those that wait for a fill-up, and those that were taken out."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from routeplan.moments import shown_moment, write_moment
from routeplan.runs_taken import pending_runs, shown_runs
from routeplan.units_shown import shown_distance, shown_duration

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from routeplan.fillups import Fillup
    from routeplan.moments import WallClock
    from routeplan.runs import Run, RunEntry
    from routeplan.units_shown import DisplayUnits

__all__ = [
    "run_document",
    "run_figures",
    "table",
    "tell_left_out",
    "tell_passed_by",
    "tell_runs_withdrawn",
    "tell_waiting",
]


def run_document(entry: RunEntry) -> dict[str, Any]:
    """Tell a run as JSON, in internal units.

    Parameters
    ----------
    entry
        The run.

    Returns
    -------
    Plain values; moments in UTC with a Z.
    """
    document = entry.model_dump(mode="json")
    run = document.pop("run")
    document["entered"] = write_moment(entry.entered)
    run["began"], run["ended"] = write_moment(entry.run.began), write_moment(entry.run.ended)
    return {**document, **run}


def run_figures(run: Run, units: DisplayUnits) -> str:
    """Tell what is known of a run, in one line.

    Parameters
    ----------
    run
        The run.
    units
        What to show volumes in.

    Returns
    -------
    Such as "59.4 nmi as planned, 2 h 25 min, 31.2 gal by the meter, slight, 4 aboard".
    """
    from_where = {"plan": " as planned", "track": " by the track", "typed": " as typed", "unknown": ""}[run.known_by]
    distance_nmi = run.distance_nmi
    parts = ["distance not known" if distance_nmi is None else f"{shown_distance(distance_nmi)}{from_where}"]
    if run.time_h is not None:
        parts.append(shown_duration(run.time_h))
    if run.metered_l is not None:
        parts.append(f"{units.volume(math.fsum(run.metered_l))} by the meter")
    if run.sea is not None:
        parts.append(run.sea)
    if run.people is not None:
        parts.append(f"{run.people} aboard")
    return ", ".join(parts)


def tell_waiting(waiting: Sequence[RunEntry], units: DisplayUnits, clock: WallClock) -> list[str]:
    """Tell which runs wait for a fill-up.

    Parameters
    ----------
    waiting
        The runs.
    units
        What to show volumes in.
    clock
        Whose clock on the wall.

    Returns
    -------
    Lines; none where none waits.
    """
    out = []
    for boat in dict.fromkeys(entry.run.boat for entry in waiting):
        own = [entry for entry in waiting if entry.run.boat == boat]
        rows = [
            (
                entry.entry,
                shown_moment(entry.run.ended, clock).split(" (")[0],
                " to ".join(filter(None, (_cut(entry.run.start), _cut(entry.run.finish)))),
                run_figures(entry.run, units),
            )
            for entry in own
        ]
        what = "1 run waits" if len(own) == 1 else f"{len(own)} runs wait"
        out += ["", f"{boat}, {what} for her next fill-up, which takes distance and hours from here:"]
        out += table(("run", "ended", "from and to", ""), rows, right=frozenset())
    return out


def tell_left_out(runs: Iterable[Run], fillups: Iterable[Fillup]) -> str:
    """Tell of the runs that a CSV file of fill-ups doesn't hold.

    Parameters
    ----------
    runs
        All that hold.
    fillups
        All that hold.

    Returns
    -------
    A sentence with a blank before it; empty where no run waits.
    """
    count = len(pending_runs(runs, fillups))
    if not count:
        return ""
    what = (
        "1 run that waits for a fill-up; it stays" if count == 1 else f"{count} runs that wait for a fill-up; they stay"
    )
    return f" Not in it: {what} in the log."


def tell_passed_by(runs: Sequence[Run], clock: WallClock) -> list[str]:
    """Tell of runs that waited, and that fill-ups came after without taking anything from them.

    Parameters
    ----------
    runs
        The runs.
    clock
        Whose clock on the wall.

    Returns
    -------
    Lines; none where there are no such runs.
    """
    return [
        (
            f"Note: {shown_runs([run], clock)}, {run.boat}, waited for a fill-up; an import takes nothing from runs: "
            "fillup add --replaces ENTRY with --distance and --hours gives it to its fill-up."
        )
        for run in runs
    ]


def tell_runs_withdrawn(gone: Sequence[RunEntry], where: str, units: DisplayUnits, clock: WallClock) -> str:
    """Tell which runs were withdrawn.

    Parameters
    ----------
    gone
        The runs that no longer count: those of one passage, in order of time.
    where
        The log.
    units
        What to show volumes in.
    clock
        Whose clock on the wall.

    Returns
    -------
    Text of some lines.
    """
    runs = [entry.run for entry in gone]
    which = f"{runs[0].boat}, {runs[0].passage or 'a passage'}, {shown_runs(runs, clock)}"
    what = "counts no more; it stays" if len(runs) == 1 else "count no more; they stay"
    return "\n".join(
        [
            f"Withdrawn in {where}: {which}, {what} in the history",
            *(f"  {each.entry}  {run_figures(each.run, units)}" for each in gone),
            "Fill-ups that took distance and hours from it keep them until the passage is entered again, or corrected.",
        ]
    )


def table(head: Sequence[str], rows: Sequence[Sequence[str]], *, right: frozenset[int]) -> list[str]:
    """Lay cells out in columns.

    Parameters
    ----------
    head, rows
        Cells.
    right
        Which columns are set to the right.

    Returns
    -------
    A line a row.
    """
    widths = [max(len(cell) for cell in column) for column in zip(head, *rows, strict=True)]
    return [
        "  ".join(
            cell.rjust(width) if place in right else cell.ljust(width)
            for place, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in (head, *rows)
    ]


def _cut(text: str) -> str:
    return text if len(text) <= 24 else f"{text[:21]}..."
