"""What is said when a passage has been entered in the log: each run, what fill-ups got, and what is left to do."""

from __future__ import annotations

import math
from itertools import zip_longest
from typing import TYPE_CHECKING, Any

from routeplan.console import wrapped
from routeplan.fillup_words import entry_document
from routeplan.fillups import Entry
from routeplan.moments import shown_moment, write_moment
from routeplan.run_words import run_document, run_figures
from routeplan.runs import RunEntry
from routeplan.runs_taken import shown_runs
from routeplan.units_shown import shown_distance, shown_duration

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from routeplan.finishing import Correction, Finished
    from routeplan.moments import WallClock
    from routeplan.runs import Run
    from routeplan.saved_plans import SavedPlan

__all__ = ["finish_document", "tell_finished"]


def tell_finished(finished: Finished, saved: SavedPlan, where: str, clock: WallClock) -> str:
    """Tell what a passage left in the log.

    Parameters
    ----------
    finished
        What was entered.
    saved
        The plan that was followed.
    where
        The log.
    clock
        Whose clock on the wall.

    Returns
    -------
    Text of several lines.
    """
    boat, runs = saved.boat, finished.runs
    out = [f"Entered in {where}: {boat.name}, {runs[0].start} to {runs[-1].finish}, {shown_runs(runs, clock)}"]
    for name, run in zip_longest(finished.run_names, runs, fillvalue=""):
        if isinstance(run, str):
            break
        out.append(wrapped(f"{name or 'run':8}  {run.start} to {run.finish}: {_run(run, saved)}", "  "))
    for name, correction in zip_longest(finished.entry_names, finished.corrections, fillvalue=""):
        if isinstance(correction, str):
            break
        out.append(wrapped(f"{name or 'entry':8}  {_corrected(correction, clock)}", "  "))
    out += [wrapped(f"Note: {note}.") for note in finished.notes]
    if finished.waiting:
        run = "The last run waits" if len(finished.waiting) == 1 else f"{len(finished.waiting)} runs wait"
        what = "three numbers are enough: routeplan fillup add METER GAUGE PUMPED"
        out.append(wrapped(f"{run} for the next fill-up, which takes its distance and hours from here; {what}."))
    elif finished.corrections:
        out.append("All of it is with its fill-up: routeplan boat learn counts it from now on.")
    if finished.run_names:
        out.append(f"Something wrong? routeplan fillup withdraw {finished.run_names[-1]} takes the passage out again.")
    return "\n".join(out)


def finish_document(finished: Finished, saved: SavedPlan, where: str, entered: datetime) -> dict[str, Any]:
    """Tell the same as JSON.

    Parameters
    ----------
    finished
        What was entered.
    saved
        The plan that was followed.
    where
        The log.
    entered
        When.

    Returns
    -------
    Plain values, in internal units.
    """
    runs = [
        run_document(RunEntry(entry=name, entered=entered, run=run))
        for name, run in zip(finished.run_names, finished.runs, strict=True)
    ]
    corrections = [
        {
            "filled_in": sorted(each.values),
            **entry_document(Entry(entry=name, entered=entered, replaces=each.entry.entry, fillup=each.fillup)),
        }
        for name, each in zip(finished.entry_names, finished.corrections, strict=True)
    ]
    return {
        "schema": "routeplan/underway-arrived/1",
        "log": where,
        "boat": saved.boat.name,
        "entered": write_moment(entered),
        "runs": runs,
        "corrections": corrections,
        "waiting": [
            name for name, run in zip(finished.run_names, finished.runs, strict=True) if run in finished.waiting
        ],
        "notes": list(finished.notes),
    }


def _run(run: Run, saved: SavedPlan) -> str:
    """Tell a run, and hold what it burnt against the plan's burn for its speeds."""
    text = run_figures(run, saved.boat.units)
    if run.metered_l is None or run.distance_nmi is None or not run.speeds_run:
        return text
    burnt_l = math.fsum(run.metered_l) * saved.helm.meter.factor
    fastest_kn = saved.boat.fastest_kn
    planned_l = sum(saved.boat.burn_lph(min(max(r.speed_kn, 0.1), fastest_kn)) * r.time_h for r in run.speeds_run)
    if min(burnt_l, planned_l) < 1.0:
        return text
    underway = " underway, with that day's burn in it" if saved.before is not None else ""
    return f"{text}; by the meter, corrected, {burnt_l / planned_l:.2f} times the burn planned{underway}"


def _corrected(correction: Correction, clock: WallClock) -> str:
    old, values = correction.entry, correction.values
    when = shown_moment(old.fillup.when, clock).split(" (")[0]
    dock = f" at {old.fillup.dock}" if old.fillup.dock else ""
    return f"replaces {old.entry}, the fill-up of {when}{dock}: {_given(values)}"


def _given(values: Mapping[str, Any]) -> str:
    said = [f"at {values['dock']}"] if "dock" in values else []
    if "distance_run_nmi" in values:
        said.append(shown_distance(values["distance_run_nmi"]))
    if "engine_hours_h" in values:
        said.append(shown_duration(values["engine_hours_h"]))
    if "speeds_run" in values:
        said.append("speeds")
    if "sea" in values:
        said.append(f"a {values['sea']} sea")
    if "people" in values:
        said.append(f"{values['people']} aboard")
    return f"now with {', '.join(said)}".replace("with at", "at") if said else "less what was entered with it before"
