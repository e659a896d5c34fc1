"""Names for small displays: short, in plain letters, and no two alike."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from layers.errors import InputError
from layers.routes import plain_name

if TYPE_CHECKING:
    from collections.abc import Sequence

    from layers.routes import Route, RouteMark, RoutePoint

__all__ = [
    "LONGEST_SHORT",
    "SHORTEST_SHORT",
    "ShortName",
    "plain_letters",
    "read_short_names",
    "shorten",
    "with_short_names",
]

SHORTEST_SHORT, LONGEST_SHORT = 6, 40  # letters: below, names can't be told apart; above, none needs to be shortened
_LEAST_WORD = 4  # letters that are left of a word before another one goes
_SMALL_WORDS = frozenset({"a", "an", "at", "by", "de", "del", "der", "des", "du", "in", "la", "le", "of", "on", "the"})
_NUMBERED = re.compile(r"[A-Za-z]{0,2}[0-9]+[A-Za-z]?")  # T03, 12, 5kn: cut, it would say something else


@dataclass(frozen=True)
class ShortName:
    """What a name became.

    Parameters
    ----------
    full
        The name in full.
    short
        The short one.
    """

    full: str
    short: str


def read_short_names(text: str, where: str) -> int:
    """Read how many letters a name may have.

    Parameters
    ----------
    text
        A whole number.
    where
        The option that it came from.

    Returns
    -------
    int
        From 6 to 40.

    Raises
    ------
    InputError
        It isn't a whole number, or is outside of that.
    """
    limits = f"{SHORTEST_SHORT} to {LONGEST_SHORT} letters"
    if not re.fullmatch(r"\s*[0-9]{1,4}\s*", text) or not text.isascii():
        raise InputError(where, f"is not a number of letters, {limits}", value=text, remedy="write for example 10")
    most = int(text)
    if not SHORTEST_SHORT <= most <= LONGEST_SHORT:
        raise InputError(where, f"must be {limits}", value=text, remedy="see your plotter's handbook; 10 is common")
    return most


def with_short_names(route: Route, most: int) -> tuple[Route, tuple[ShortName, ...]]:
    """Shorten the names of a route's points and marks.

    Parameters
    ----------
    route
        The route.
    most
        Letters at the most, from 6 to 40.

    Returns
    -------
    Route
        The same with short names; points in one spot under one name keep one name, all others differ. The name in full
        begins the description.
    tuple of ShortName
        Every name that changed, in the order of the route.
    """
    every: list[RoutePoint | RouteMark] = [*route.points, *route.marks]
    keys = [(plain_name(one.name), one.position) for one in every]
    labels: dict[object, str] = {}
    for key, one in zip(keys, every, strict=True):
        labels.setdefault(key, one.short or one.name)
    short = dict(zip(labels, shorten(list(labels.values()), most), strict=True))
    changed: dict[tuple[str, str], ShortName] = {}
    told = []
    for key, one in zip(keys, every, strict=True):
        new = short[key]
        if new == one.name:
            told.append(one)
            continue
        changed[one.name, new] = ShortName(one.name, new)
        said = "\n".join(filter(None, [one.name, one.description]))
        told.append(one.model_copy(update={"name": new, "description": said}))
    count = len(route.points)
    shorter = route.model_copy(update={"points": tuple(told[:count]), "marks": tuple(told[count:])})
    return shorter, tuple(changed.values())


def shorten(names: Sequence[str], most: int) -> tuple[str, ...]:
    """Shorten names so that no two are alike.

    Parameters
    ----------
    names
        One for each thing; the same name twice stands for two things.
    most
        Letters at the most, from 6 to 40.

    Returns
    -------
    tuple of str
        As many: ASCII letters, figures, blanks and hyphens, which every display has and which no sentence between
        instruments gives a meaning of its own. Names that are fit already stay as they are; those that would be alike,
        large and small letters being one, end with a number.

    Raises
    ------
    InputError
        `most` is outside of 6 to 40.

    Examples
    --------
    >>> shorten(["T03 Tolvarrow Heads", "Gull Rock", "Gull Rocks Light", "Ångö Fuel Dock"], 10)
    ('T03 Tolvar', 'Gull Rock', 'Gull Rocks', 'Ango Fuel')
    """
    if not SHORTEST_SHORT <= most <= LONGEST_SHORT:
        raise InputError("short names", f"must be {SHORTEST_SHORT} to {LONGEST_SHORT} letters", value=most)
    plain = [plain_letters(name) for name in names]
    taken: set[str] = set()
    short: dict[int, str] = {}
    for i, name in enumerate(names):  # who is fit already comes first
        if plain[i] == name and 0 < len(name) <= most and name.casefold() not in taken:
            short[i] = name
            taken.add(name.casefold())
    seen: dict[str, int] = {}
    for i, text in enumerate(plain):
        if i in short:
            continue
        wanted = _cut(text, most) or "P"
        if wanted.casefold() in taken:
            wanted = _numbered(text, most, taken, seen)
        short[i] = wanted
        taken.add(wanted.casefold())
    return tuple(short[i] for i in range(len(names)))


def plain_letters(name: str) -> str:
    """Write a name in plain letters.

    Parameters
    ----------
    name
        In any script.

    Returns
    -------
    str
        ASCII letters, figures, blanks and hyphens; empty where nothing of it can be written so.

    Examples
    --------
    >>> plain_letters("Sankt-Örsö (väst) & Co."), plain_letters("Λιμάνι")
    ('Sankt-Orso vast Co', 'Limani')
    """
    from anyascii import anyascii  # noqa: PLC0415  its tables are read when it is first used

    letters = anyascii(plain_name(name)).replace("'", "").replace("`", "")
    return " ".join(re.sub(r"[^A-Za-z0-9-]+", " ", letters).split()).strip("- ")


def _numbered(text: str, most: int, taken: set[str], seen: dict[str, int]) -> str:
    """Find the next number that makes a name its own."""
    number = seen.get(text, 1)
    while True:
        number += 1
        end = str(number)
        stem = _cut(text, most - len(end)) or "P"
        gap = " " if stem[-1:].isdigit() and len(stem) + 1 + len(end) <= most else ""
        wanted = f"{stem}{gap}{end}"
        if wanted.casefold() not in taken:
            seen[text] = number
            return wanted


def _cut(text: str, most: int) -> str:
    """Cut a name: small words first, then the longest word letter by letter, then words from behind."""
    if len(text) <= most:
        return text
    words = text.split()
    words = [word for i, word in enumerate(words) if i == 0 or word.lower() not in _SMALL_WORDS]
    for count in range(len(words), 0, -1):
        kept = words[:count]
        least = [len(w) if _NUMBERED.fullmatch(w) else min(len(w), _LEAST_WORD) for w in kept]
        while len(" ".join(kept)) > most:
            spare = [len(word) - low for word, low in zip(kept, least, strict=True)]
            if not any(spare):
                break
            longest = max(len(word) for word, room in zip(kept, spare, strict=True) if room)
            at = max(i for i, word in enumerate(kept) if spare[i] and len(word) == longest)  # the last of them
            kept[at] = kept[at][:-1]
        whole = " ".join(word.strip("-") for word in kept).strip()
        if len(whole) <= most:
            return whole
    return words[0][:most].strip("- ")
