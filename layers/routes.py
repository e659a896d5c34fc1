"""Routes as files hold them: points in order with the leg that leads to each, and marks beside the way.

A route is steered from point to point. Receivers and plotters draw the stretch between two points as a rhumb line or as
a great circle, and few files say which: whoever makes a route puts its points so close that both are the same way.
"""

from __future__ import annotations

import re
import unicodedata
from datetime import UTC, datetime
from typing import Annotated, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

__all__ = [
    "MarkKind",
    "PointKind",
    "Position",
    "Route",
    "RouteLeg",
    "RouteMark",
    "RoutePoint",
    "plain_name",
    "utc_text",
]

Position = tuple[Annotated[float, Field(ge=-180, le=180)], Annotated[float, Field(ge=-90, le=90)]]
PointKind = Literal["start", "turn", "between", "stop", "end"]
MarkKind = Literal["stop", "alternate", "last turn", "place"]

# Written between letters by scripts that need it (Persian, Hindi, emoji of several signs): the only format characters
# that belong to a name. All others steer the direction of text or are not seen, and garble what stands beside them.
_JOINERS = ("\u200c", "\u200d")
_NO_CHARACTERS = re.compile(r"[\ufffe\uffff\U0001fffe\U0001ffff]")  # not for use in text by the Unicode standard


class _Value(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class RouteLeg(_Value):
    """The way that leads to a point.

    Parameters
    ----------
    course_deg
        [deg] True course at its beginning.
    distance_nmi
        [nmi] Its length.
    speed_kn
        [kn] Planned speed; None where nothing is planned.
    keep_within_nmi
        [nmi] How far to either side the water was looked at; None where it wasn't, as on the last stretch to a berth.
    note
        What to heed on it; empty where nothing is known.
    """

    course_deg: Annotated[float, Field(ge=0, le=360)]
    distance_nmi: Annotated[float, Field(ge=0)]
    speed_kn: Annotated[float, Field(gt=0)] | None = None
    keep_within_nmi: Annotated[float, Field(ge=0)] | None = None
    note: str = ""


class RoutePoint(_Value):
    """One point that is steered for.

    Parameters
    ----------
    name
        Its name in full.
    position
        [deg] Longitude and latitude.
    kind
        What it is: where the route starts or ends, a turn, a stop, or a point put between two turns so that a rhumb
        line stays on the way.
    short
        The name that short names are made of, the telling part first; empty where that is the name itself.
    comment
        One line for a small display.
    description
        All that is to be said of it, for a large one.
    leg
        The way that leads to it; None at the start.
    arrive, depart
        When, as planned; None where nothing is planned.
    facts
        Further figures as text by name, with the unit as the last word of the name: columns of a table.
    """

    name: str
    position: Position
    kind: PointKind = "turn"
    short: str = ""
    comment: str = ""
    description: str = ""
    leg: RouteLeg | None = None
    arrive: AwareDatetime | None = None
    depart: AwareDatetime | None = None
    facts: tuple[tuple[str, str], ...] = ()


class RouteMark(_Value):
    """A place beside the way that is worth a mark.

    Parameters
    ----------
    name, position
        As of a point.
    kind
        What it is: a stop, another place to go if a stop is closed, the last point to turn at, or any place.
    short, comment, description, facts
        As of a point.
    """

    name: str
    position: Position
    kind: MarkKind = "place"
    short: str = ""
    comment: str = ""
    description: str = ""
    facts: tuple[tuple[str, str], ...] = ()


class Route(_Value):
    """A route.

    Parameters
    ----------
    name
        Its name.
    points
        In the order in which they are steered for, two or more.
    marks
        Places beside the way.
    description
        What it is, in a sentence or two.
    cautions
        What is to be said with it, the gravest first.
    made
        When it was made; None where unknown.
    vessel
        Name of who is to follow it; empty where unknown.
    notes
        What was left out or changed when it was read, in sentences.
    """

    name: str
    points: Annotated[tuple[RoutePoint, ...], Field(min_length=2)]
    marks: tuple[RouteMark, ...] = ()
    description: str = ""
    cautions: tuple[str, ...] = ()
    made: AwareDatetime | None = None
    vessel: str = ""
    notes: tuple[str, ...] = ()

    @property
    def fact_names(self) -> tuple[str, ...]:
        """Names of the figures that any of its points or marks carries, in order of appearance."""
        held = [*(point.facts for point in self.points), *(mark.facts for mark in self.marks)]
        return tuple(dict.fromkeys(name for facts in held for name, _ in facts))


def plain_name(text: str) -> str:
    r"""Take out of a text what no file or display can hold.

    Parameters
    ----------
    text
        As typed, or as a file has it.

    Returns
    -------
    str
        One line without control characters, halves of surrogates, signs that turn the direction of text and signs that
        aren't seen; blanks in a row become one.

    Examples
    --------
    >>> plain_name("Gull\x00 Rock\u202e\n ]]>")
    'Gull Rock ]]>'
    """
    kept = []
    for sign in _NO_CHARACTERS.sub("", text):
        category = unicodedata.category(sign)
        if sign.isspace():
            kept.append(" ")
        elif category in ("Cc", "Cs") or (category == "Cf" and sign not in _JOINERS):
            continue
        else:
            kept.append(sign)
    return " ".join("".join(kept).split())


def utc_text(moment: datetime) -> str:
    """Write a moment as XML and JSON have it.

    Parameters
    ----------
    moment
        Zone-aware.

    Returns
    -------
    str
        To the second, in UTC, with a Z.

    Examples
    --------
    >>> utc_text(datetime(2026, 7, 1, 8, tzinfo=UTC))
    '2026-07-01T08:00:00Z'
    """
    return moment.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
