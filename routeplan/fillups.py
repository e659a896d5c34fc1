"""A fill-up as a skipper writes it down, and the entries of a log.

Three numbers make a fill-up: what the flow meter says was used since it was last reset, what the gauge says is left,
and what the pump delivered. All else is optional or has a default. A log is a sequence of entries; none is ever
changed: a correction is a new entry that names the one it replaces.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Literal, TypeAlias

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, StringConstraints, field_validator

from layers.errors import InputError
from routeplan.places import nearest_names

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["SEAS", "SINCE", "Entry", "Fillup", "FillupLog", "Sea", "Since", "SpeedRun"]

Sea: TypeAlias = Literal["calm", "smooth", "slight", "moderate", "rough", "very rough"]
"""How the sea was: words of the WMO's sea states (code table 3700)."""
Since: TypeAlias = Literal[
    "unwritten-fillup", "reset-forgotten", "reset-in-mid-tank", "meter-replaced", "meter2-replaced"
]
"""What happened since the previous fill-up that is written down, beside running."""
SEAS: tuple[Sea, ...] = ("calm", "smooth", "slight", "moderate", "rough", "very rough")
SINCE: tuple[Since, ...] = (
    "unwritten-fillup",
    "reset-forgotten",
    "reset-in-mid-tank",
    "meter-replaced",
    "meter2-replaced",
)

# Ceilings that no day boat reaches; they catch a figure in the wrong unit or in the wrong place.
_Volume = Annotated[float, Field(ge=0, le=100_000)]  # l
_Pumped = Annotated[float, Field(gt=0, le=100_000)]  # l
_Distance = Annotated[float, Field(ge=0, le=10_000)]  # nmi
_Hours = Annotated[float, Field(ge=0, le=10_000)]  # h
_Text = Annotated[str, StringConstraints(strip_whitespace=True, max_length=500)]


class _Value(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class SpeedRun(_Value):
    """How long was run at about one speed, as a recorded track tells.

    Parameters
    ----------
    speed_kn
        [kn] The mean speed over ground of this part.
    time_h
        [h] How long.
    """

    speed_kn: Annotated[float, Field(ge=0, le=150)]
    time_h: Annotated[float, Field(gt=0, le=10_000)]


class Fillup(_Value):
    """One fill-up.

    Parameters
    ----------
    boat
        The boat's name, as in her file.
    when
        The moment, in UTC.
    dock
        Where; empty where not said.
    meter_used_l, meter2_used_l
        [l] What each flow meter showed, as it stood: used since it was last reset; None where it was not read.
    gauge_before_l
        [l] What the gauge showed before the fill; None where it was not read.
    pumped_l
        [l] What the pump delivered.
    filled_to_full
        Whether the tank was filled to the full mark.
    meter_reset
        Whether the meters were reset after the fill.
    since
        What happened since the previous fill-up that is written down, beside running.
    distance_run_nmi
        [nmi] Distance run since the previous fill-up that is written down.
    engine_hours_h
        [h] Engine hours since then.
    speeds_run
        How long at which speed since then, from a recorded track.
    sea
        How the sea was.
    people
        How many were aboard.
    price_per_l
        [currency/l] What the fuel cost.
    note
        Anything else.
    """

    boat: Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=80)]
    when: AwareDatetime
    dock: _Text = ""
    meter_used_l: _Volume | None = None
    meter2_used_l: _Volume | None = None
    gauge_before_l: _Volume | None = None
    pumped_l: _Pumped
    filled_to_full: bool = True
    meter_reset: bool = True
    since: tuple[Since, ...] = ()
    distance_run_nmi: _Distance | None = None
    engine_hours_h: _Hours | None = None
    speeds_run: tuple[SpeedRun, ...] = ()
    sea: Sea | None = None
    people: Annotated[int, Field(ge=0, le=1_000)] | None = None
    price_per_l: Annotated[float, Field(ge=0, le=100_000)] | None = None
    note: _Text = ""

    @field_validator("boat", "dock", "note")
    @classmethod
    def _one_line(cls, text: str) -> str:
        if any(not (letter.isprintable() or letter == "\u00a0") for letter in text):
            raise ValueError("must be one line of printable text")
        return text

    @property
    def meters_used_l(self) -> tuple[float | None, ...]:
        """[l] What the meters showed: one figure, or two where a second meter was read."""
        if self.meter2_used_l is None:
            return (self.meter_used_l,)
        return (self.meter_used_l, self.meter2_used_l)


class Entry(_Value):
    """One entry of a log: a fill-up, a correction of one, or the withdrawal of one.

    Parameters
    ----------
    entry
        The entry's name in the log: eight letters and digits.
    entered
        When it was entered, in UTC.
    replaces
        Name of the entry that this one replaces; None for a new fill-up.
    withdrawn
        Whether this entry says that the one it replaces never was.
    fillup
        The fill-up; of a withdrawal, the one that is withdrawn.
    """

    entry: Annotated[str, Field(pattern=r"^[a-z0-9]{8}$")]
    entered: AwareDatetime
    replaces: str | None = None
    withdrawn: bool = False
    fillup: Fillup


@dataclass(frozen=True)
class FillupLog:
    """What a log says today: every fill-up as last corrected, withdrawn ones left out, in order of time.

    Parameters
    ----------
    where
        The file or database that it was read from, without secrets.
    entries
        In order of boats and time.
    """

    where: str
    entries: tuple[Entry, ...]

    @classmethod
    def of_entries(cls, where: str, entries: Iterable[Entry]) -> FillupLog:
        """Take what holds today from a whole history.

        Parameters
        ----------
        where
            The file or database.
        entries
            All entries, in any order.

        Returns
        -------
        The log.
        """
        history = list(entries)
        replaced = {entry.replaces for entry in history if entry.replaces is not None}
        today = [entry for entry in history if entry.entry not in replaced and not entry.withdrawn]
        return cls(where, tuple(sorted(today, key=lambda e: (e.fillup.boat, e.fillup.when, e.entered, e.entry))))

    @property
    def boats(self) -> tuple[str, ...]:
        """Names of the boats that have fill-ups, in order of the alphabet."""
        return tuple(sorted({entry.fillup.boat for entry in self.entries}))

    def of(self, boat: str) -> tuple[Entry, ...]:
        """Return one boat's entries.

        Parameters
        ----------
        boat
            Her name.

        Returns
        -------
        In order of time; empty where she has none.
        """
        return tuple(entry for entry in self.entries if entry.fillup.boat == boat)

    def need(self, boat: str) -> tuple[Entry, ...]:
        """Return one boat's entries, of which there must be some.

        Parameters
        ----------
        boat
            Her name.

        Returns
        -------
        In order of time.

        Raises
        ------
        InputError
            She has none; names the boats that are nearest by name.
        """
        found = self.of(boat)
        if not found:
            near = nearest_names(boat, self.boats)
            remedy = f"did you mean {', '.join(near)}?" if near else "add one with routeplan fillup add"
            raise InputError(self.where, "holds no fill-up of this boat", value=boat, remedy=remedy)
        return found
