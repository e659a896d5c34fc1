"""What a passage sheet says of each mark: what the dial shows, above which figure to do what, and the way to a dock."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from routeplan.plan_words import PlanWords
from routeplan.units_shown import shown_speed
from routeplan.words import course

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from routeplan.helm import MeterMark, WayLeg
    from routeplan.saved_plans import SavedPlan
    from routeplan.sheet import Sheet
    from routeplan.sheet_rows import LegRow

__all__ = ["MarkWords"]

_COUNTED = re.compile(r"^(?:turn|point) \d+(?:[,:] |$)")  # the row has the number already
_IN_SIGHT_NMI = 0.3  # [nmi] from the dock she is steered by eye
_MOST_IN_A_ROW = 3  # courses of a way that a row has room for
_NO_BREAK = "\u00a0"


class MarkWords(PlanWords):
    """Says what is to be done at the marks of a sheet.

    Parameters
    ----------
    saved
        The plan: boat, zone, currency and speed are its own.
    sheet
        What the sheet holds.
    """

    def __init__(self, saved: SavedPlan, sheet: Sheet) -> None:
        super().__init__(saved.boat, ZoneInfo(saved.region.time_zone), saved.region.currency, saved.speed_kn)
        self.saved = saved
        self.sheet = sheet

    def bare(self, volume_l: float) -> str:
        """Say what a dial shows or may show at the most, without its unit: rounded down.

        Parameters
        ----------
        volume_l
            [l] The volume.

        Returns
        -------
        Tenths of a gallon, whole litres.
        """
        if self.units.system == "metric":
            return str(math.floor(volume_l + 1e-6))
        return self.units.volume_down(volume_l).split(" ", 1)[0]

    def steered(self, course_deg: float) -> str:
        """Say a course to steer, magnetic where the region gives the variation, with its letter.

        Parameters
        ----------
        course_deg
            [deg] True.

        Returns
        -------
        Such as ``142 M`` or ``133 T``.
        """
        variation = self.sheet.variation_deg
        if variation is None:
            return f"{course(course_deg)}{_NO_BREAK}T"
        return f"{course(course_deg - variation)}{_NO_BREAK}M"

    def mark_name(self, row: LegRow) -> str:
        """Name the mark at a row's end, without the number that the row has.

        Parameters
        ----------
        row
            The row.

        Returns
        -------
        Its name; empty where it is a turn in open water.
        """
        return _COUNTED.sub("", row.to)

    def place_on_leg(self, row: LegRow) -> str:
        """Say where a mark lies on a leg that it doesn't end.

        Parameters
        ----------
        row
            The row up to the mark.

        Returns
        -------
        Such as ``after 11.8 of 35.5 nmi``; empty where it ends the leg.
        """
        if not row.part:
            return ""
        return f"after {row.after_nmi:.1f} of {row.leg_nmi:.1f} nmi"

    def limit_figure(self, mark: MeterMark | None) -> str:
        """Say above which reading something is to be done.

        Parameters
        ----------
        mark
            The mark whose limit counts; None where there is none.

        Returns
        -------
        The figure, rounded down; empty where there is none.
        """
        if mark is None:
            return ""
        limit_l = mark.slow_above_l if mark.turn_above_l is None else mark.turn_above_l
        return "" if limit_l is None else self.bare(limit_l)

    def otherwise(self, row: LegRow) -> str:
        """Say what is to be done at a mark from which there is nowhere to turn.

        Parameters
        ----------
        row
            The row up to the mark.

        Returns
        -------
        To slow down above the limit; or to go on.
        """
        if row.limit is not None and row.limit.slow_kn is not None:
            return f"slow to {shown_speed(row.limit.slow_kn)}"
        return {"stop": "fuel here", "finish": "", "": "go on"}[row.ends_at]

    def way(self, mark: MeterMark) -> str:
        """Say the way from a mark to the dock to turn for, shortly.

        Parameters
        ----------
        mark
            The mark.

        Returns
        -------
        Up to three courses with their lengths; of a way of more the first two, and where the others stand.
        """
        stretches = _steered(mark.turn_way)
        if len(stretches) <= _MOST_IN_A_ROW:
            return self._stretches(stretches)
        return f"{self._stretches(stretches[:2])}{_NO_BREAK}+{_NO_BREAK}Ways"

    def whole_ways(self) -> list[tuple[str, str, str]]:
        """Say the ways that a row has no room for.

        Returns
        -------
        Of each the row's number, the dock's name and all courses with their lengths.
        """
        rows = [row for row in self.sheet.lines if row.kind == "leg" and row.limit is not None]
        return [
            (row.label, row.limit.turn_for, self._stretches(_steered(row.limit.turn_way)))
            for row in rows
            if row.limit is not None
            and row.limit.turn_for is not None
            and len(_steered(row.limit.turn_way)) > _MOST_IN_A_ROW
        ]

    def _stretches(self, stretches: Sequence[WayLeg]) -> str:
        return ", ".join(f"{self.steered(leg.course_deg)}{_NO_BREAK}{leg.distance_nmi:.1f}" for leg in stretches)

    def shut_till(self, opens: datetime | None, at: datetime) -> str:
        """Say that a dock is shut when the boat comes, and until when.

        Parameters
        ----------
        opens
            When she can begin to fill; None where it is open.
        at
            When she turns for it.

        Returns
        -------
        Such as ``shut till Thu 07:00``; empty where it is open.
        """
        return "" if opens is None else f"shut till {self.when(opens, at)}"


def _steered(way: Sequence[WayLeg]) -> Sequence[WayLeg]:
    """Leave out the last few lengths, when the dock is in sight."""
    count = len(way)
    while count > 1 and sum(leg.distance_nmi for leg in way[count - 1 :]) <= _IN_SIGHT_NMI:
        count -= 1
    return way[:count]
