"""A run: how a boat got from one place to another without taking fuel, as the log keeps it until the next fill-up.

A run waits in the log. The fill-up that ends after it takes its distance, hours, speeds, sea and people, where they
aren't typed; nothing marks a run as taken but the moments of both, so that a fill-up that is withdrawn gives its runs
back. Runs are kept like fill-ups: added, never changed; a withdrawal is a row that names the one it withdraws.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal, Self, TypeAlias

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, StringConstraints, field_validator, model_validator

from routeplan.fillups import Sea, SpeedRun

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

__all__ = ["KnownBy", "Run", "RunEntry", "standing_runs"]

KnownBy: TypeAlias = Literal["plan", "track", "typed", "unknown"]
"""Where a run's distance is from: the plan that was followed, a recorded track, or what was typed."""

_Figure = Annotated[float, Field(ge=0, le=100_000)]  # l
_Figures = Annotated[tuple[_Figure, ...], Field(min_length=1, max_length=2)]
_Text = Annotated[str, StringConstraints(strip_whitespace=True, max_length=500)]


class _Value(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Run(_Value):
    """One run, between two places where fuel may have been taken.

    Parameters
    ----------
    boat
        The boat's name.
    began, ended
        When she left and when she was there, in UTC.
    start, finish
        Where; empty where not known.
    distance_nmi
        [nmi] Distance run; None where nobody knows.
    time_h
        [h] Engine hours; None where nobody knows.
    metered_l
        [l] What each flow meter counted in it, uncorrected; None where they weren't read at both ends.
    shows_l
        [l] What each dial showed at its end, since it was last reset; None where they weren't read.
    speeds_run
        How long at which speed; empty where nobody knows.
    known_by
        Where the distance is from.
    sea
        How the sea was.
    people
        How many were aboard.
    passage
        The passage that it is part of, in words.
    passage_key
        What tells that passage from any other: 64 hexadecimal digits.
    note
        Anything else.
    """

    boat: Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=80)]
    began: AwareDatetime
    ended: AwareDatetime
    start: _Text = ""
    finish: _Text = ""
    distance_nmi: Annotated[float, Field(ge=0, le=10_000)] | None = None
    time_h: Annotated[float, Field(ge=0, le=10_000)] | None = None
    metered_l: _Figures | None = None
    shows_l: _Figures | None = None
    speeds_run: tuple[SpeedRun, ...] = ()
    known_by: KnownBy = "unknown"
    sea: Sea | None = None
    people: Annotated[int, Field(ge=0, le=1_000)] | None = None
    passage: _Text = ""
    passage_key: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
    note: _Text = ""

    @field_validator("boat", "start", "finish", "passage", "note")
    @classmethod
    def _one_line(cls, text: str) -> str:
        if any(not (letter.isprintable() or letter == "\u00a0") for letter in text):
            raise ValueError("must be one line of printable text")
        return text

    @model_validator(mode="after")
    def _ends_after_it_began(self) -> Self:
        if self.ended <= self.began:
            raise ValueError("a run ends after it began")
        return self

    @property
    def middle(self) -> datetime:
        """The moment halfway: a run belongs to the fill-up after it, though both ends may be off by some minutes."""
        return self.began + (self.ended - self.began) / 2


class RunEntry(_Value):
    """A run as the log has it, or the withdrawal of one.

    Parameters
    ----------
    entry
        Its name in the log: eight letters and digits, of which no fill-up has the same.
    entered
        When it was entered, in UTC.
    replaces
        Name of the run that this one withdraws; None for a run.
    withdrawn
        Whether it says that the one it names never was.
    run
        The run.
    """

    entry: Annotated[str, Field(pattern=r"^[a-z0-9]{8}$")]
    entered: AwareDatetime
    replaces: str | None = None
    withdrawn: bool = False
    run: Run


def standing_runs(history: Iterable[RunEntry]) -> tuple[RunEntry, ...]:
    """Take the runs that hold today from all that were ever entered.

    Parameters
    ----------
    history
        All of them, in any order.

    Returns
    -------
    Those that weren't withdrawn, in order of boats and time.
    """
    entries = tuple(history)
    gone = {entry.replaces for entry in entries if entry.replaces is not None}
    held = [entry for entry in entries if entry.entry not in gone and not entry.withdrawn]
    return tuple(sorted(held, key=lambda e: (e.run.boat, e.run.began, e.entered, e.entry)))
