"""What is said of a saved plan: what it is, and what was noted underway."""

from __future__ import annotations

from typing import TYPE_CHECKING

from routeplan.moments import shown_moment
from routeplan.places import write_position
from routeplan.plan_words import PlanWords

if TYPE_CHECKING:
    from routeplan.saved_plans import SavedPlan

__all__ = ["tell_saved"]


def tell_saved(saved: SavedPlan) -> list[str]:
    """Say what a saved plan is.

    Parameters
    ----------
    saved
        The plan.

    Returns
    -------
    Paragraphs; an empty one is a blank line.
    """
    words = PlanWords(saved.boat, saved.zone, saved.region.currency, saved.speed_kn)
    plan, clock = saved.plan, saved.zone
    ends = f"{plan.legs[0].from_} to {plan.legs[-1].to}" if plan.legs else saved.trip.start
    lines = [
        f"{saved.boat.name}: {ends}, leaves {shown_moment(plan.depart, clock)}.",
        f"Saved {shown_moment(saved.saved, clock)}, made with {saved.region.name}.",
        f"Aboard at departure {saved.trip.aboard.how}.",
        f"{'; '.join(words.summary_lines(plan))}.",
        "",
    ]
    for number, stop in enumerate(plan.stops):
        lines.append(f"{words.stop_title(plan, number)}: {'; '.join(words.stop_lines(plan, stop)[:2])}.")
    if saved.reports:
        lines += ["", "Noted underway:"]
    for report in saved.reports:
        meter = [f"meter {' + '.join(words.units.volume(v) for v in report.shows_l)}"] if report.shows_l else []
        gauge = [f"gauge {words.units.volume(report.gauge_l)}"] if report.gauge_l is not None else []
        filled = ["filled to the mark"] if report.filled else []
        said = [shown_moment(report.when, clock), write_position(report.position), *meter, *gauge, *filled]
        lines.append(f"  {'; '.join(said)}")
    return lines
