"""Opening hours as people write them, put into the syntax of `layers.hours` where they can be read in one way only.

``24h``, ``8am-6pm daily``, ``every day 9-17``, ``Mon-Fri 8-18, Sat 9-13, Sun closed``, ``Apr-Oct 8-20``. What may be
meant in two ways, such as ``8-6`` or ``7-11``, isn't read.
"""

from __future__ import annotations

import re

from layers.errors import InputError
from layers.hours import UTC_ZONE, read_hours

__all__ = ["HOURS_REMEDY", "plain_hours"]

HOURS_REMEDY = (
    "write them as 08:00-18:00, Mo-Fr 08:00-18:00; Sa 09:00-13:00, or 24/7 where it never closes, or leave them empty:"
    " then they are unknown"
)
_LONGEST = 200  # characters of what is looked at
_NOON_H, _DAY_H = 12, 24
_DAYS = ("Mo", "Tu", "We", "Th", "Fr", "Sa", "Su")
_DAY = r"(?:mon?|tue?s?|wed?s?|thu?r?s?|fri?|sat?|sun?)(?:days?|sdays?|nesdays?|rsdays?|urdays?)?\b\.?"
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_MONTH = r"(?:jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sept?(?:ember)?"
_MONTH += r"|oct(?:ober)?|nov(?:ember)?|dec(?:ember)?)\b\.?"
_TO = r"\s*(?:-|\bto\b|\btill?\b|\buntil\b|\bthrough\b|\bthru\b)\s*"
_AND = r"\s*(?:,|&|\+|/|\band\b)\s*"
_EVERY = r"(?:daily|every\s*day|all\s+week|(?:7|seven)\s+days(?:\s+a\s+week)?)"
_DAY_SPAN = rf"{_DAY}(?:{_TO}{_DAY})?"
_DAY_LIST = rf"(?:{_EVERY}|week\s?days|week\s?ends|{_DAY_SPAN}(?:{_AND}{_DAY_SPAN})*)"
_MONTH_SPAN = rf"{_MONTH}(?:{_TO}{_MONTH})?"
_TIME = r"(?:\d{1,2}(?:[:.h]\d\d)?\s*(?:a\.?m\b\.?|p\.?m\b\.?|hrs?\b|h\b)?|\d{4}|noon|midnight)"
_SPAN = rf"(?:from\s+)?{_TIME}{_TO}{_TIME}"
_ROUND_THE_CLOCK = (
    r"(?:24\s*/\s*7|24-7|h24|(?:open\s+)?24\s*h(?:(?:ou)?rs?)?(?:\s+(?:a|per)\s+day)?|always(?:\s+open)?)"
)
_CLAUSE = re.compile(
    rf"(?:open\s+)?(?P<months>{_MONTH_SPAN})?\s*[:,]?\s*(?P<days>{_DAY_LIST})?\s*[:,]?\s*(?:open\s+)?"
    rf"(?:(?P<always>{_ROUND_THE_CLOCK})|(?P<spans>{_SPAN}(?:{_AND}{_SPAN})*)|(?P<closed>closed|shut))"
    rf"\s*[,]?\s*(?P<days_after>{_DAY_LIST})?\s*,?\s*(?P<months_after>{_MONTH_SPAN})?"
)
_ONE_TIME = re.compile(r"(?P<hour>\d{1,2})(?:[:.h]?(?P<minute>\d\d))?\s*(?P<half>[ap])?[a-z. ]*")


def plain_hours(text: str) -> str:
    """Put hours as people write them into the syntax that layers have.

    Parameters
    ----------
    text
        The hours.

    Returns
    -------
    str
        The same text where it is in that syntax already; empty where it can't be read in one way only.

    Examples
    --------
    >>> plain_hours("24h"), plain_hours("8am-6pm daily"), plain_hours("every day 9-17")
    ('24/7', '08:00-18:00', '09:00-17:00')
    >>> plain_hours("Mon-Fri 8-18, Sat 9-13; Sun closed")
    'Mo-Fr 08:00-18:00; Sa 09:00-13:00; Su off'
    >>> plain_hours("8-6"), plain_hours("7-11")
    ('', '')
    """
    if _is_read(text):
        return "" if _turns_back(text) else text
    plain = re.sub(r"[\u2010-\u2015\u2212]", "-", " ".join(text.lower().split())).strip(" .;,")
    if not plain or len(plain) > _LONGEST:
        return ""
    parts = [
        part.strip() for part in re.split(rf"\s*;\s*|\s*,\s*(?={_DAY}|{_MONTH}|week|daily|every|closed|shut)", plain)
    ]
    whole = [_clause(part) for part in _joined(parts)]
    told = "; ".join(whole)
    if not all(whole) or (len(whole) == 1 and whole[0].endswith("off")):
        return ""
    return told if _is_read(told) else ""


def _is_read(text: str) -> bool:
    try:
        read_hours(text, UTC_ZONE)
    except InputError:
        return False
    return True


def _turns_back(text: str) -> bool:
    """Tell whether some span ends before it begins by a clock of twelve: 9:00-5:00 is the day, not the night."""
    spans = re.findall(r"(?<![\d:])([1-9]|1[0-2]):(\d\d)\s*-\s*([1-9]):(\d\d)(?!\d)", text)
    return any((int(a), int(b)) > (int(c), int(d)) for a, b, c, d in spans)


def _joined(parts: list[str]) -> list[str]:
    """Join days that a comma parts with the times that they are for: ``mon, wed 8-18``."""
    out: list[str] = []
    waiting = ""
    for part in parts:
        here = f"{waiting},{part}" if waiting else part
        waiting = here if re.fullmatch(rf"{_DAY_LIST}|{_MONTH_SPAN}", here) else ""
        out += [] if waiting else [here]
    if waiting and out and re.fullmatch(_DAY_LIST, waiting):  # days that stand behind their times
        out[-1] += f", {waiting}"
        waiting = ""
    return [*out, *([waiting] if waiting else [])]


def _clause(text: str) -> str:
    """Read one rule; empty where it can't be read."""
    found = _CLAUSE.fullmatch(text)
    if found is None or (found["days"] and found["days_after"]) or (found["months"] and found["months_after"]):
        return ""
    days = _days(found["days"] or found["days_after"] or "")
    months = _months(found["months"] or found["months_after"] or "")
    times = "off" if found["closed"] else _spans(found["spans"] or "")
    if found["always"]:
        times = "00:00-24:00" if days or months else "24/7"
    return " ".join(filter(None, (months, days, times))) if times else ""


def _days(text: str) -> str:
    if not text or re.fullmatch(_EVERY, text):
        return ""
    if text.startswith("week"):
        return "Mo-Fr" if text.endswith("days") else "Sa-Su"
    named = re.sub(_DAY, lambda found: found[0][:2].capitalize(), text)
    return re.sub(_AND, ",", re.sub(_TO, "-", named))


def _months(text: str) -> str:
    named = re.sub(_MONTH, lambda found: found[0][:3].capitalize(), text)
    return re.sub(_TO, "-", named)


def _spans(text: str) -> str:
    pairs = [re.split(_TO, re.sub(r"^from\s+", "", span)) for span in re.split(rf"{_AND}(?=\d|noon|mid|from)", text)]
    if any(len(pair) != 2 for pair in pairs):
        return ""
    hours = [int(hour) for hour in re.findall(r"(?<![\d:.h])(\d{1,2})(?=[:.h]?\d\d\b|\D|$)", text)]
    by_24 = any(hour > _NOON_H for hour in hours)
    read = [_span(begins, ends, by_24=by_24) for begins, ends in pairs]
    return ",".join(read) if all(read) else ""


def _span(begins: str, ends: str, *, by_24: bool) -> str:
    """Read from when until when; empty where the half of the day isn't certain."""
    first, last = _time(begins), _time(ends)
    if first is None or last is None:
        return ""
    (a, a_half, a_sure), (b, b_half, b_sure) = first, last
    if b_half and not a_half and not a_sure:
        if b_half == "p" and (a % 720) > (b % 720):  # from 8 to 6 in the afternoon: it can't be 8 in the evening
            a_half, a_sure = "a", True
        else:
            return ""
    if b == 0:
        b = _DAY_H * 60
    sure = (a_sure or bool(a_half) or by_24) and (b_sure or bool(b_half) or by_24)
    if not sure or (bool(a_half) != bool(b_half) and not (a_sure and b_sure)):
        return ""
    if a == b or (b < a and not (a_half and b_half)):  # over midnight only where both halves are said
        return ""
    return f"{a // 60:02}:{a % 60:02}-{b // 60:02}:{b % 60:02}"


def _time(text: str) -> tuple[int, str, bool] | None:
    """Read a time: minutes of the day, which half of the day it says, and whether it is sure without."""
    plain = text.strip()
    if plain in {"noon", "midnight"}:
        return (_NOON_H * 60, "p", False) if plain == "noon" else (0, "a", False)
    found = _ONE_TIME.fullmatch(plain)
    if found is None:
        return None
    hour, minute, half = int(found["hour"]), int(found["minute"] or 0), found["half"] or ""
    if minute > 59 or hour > (_NOON_H if half else _DAY_H) or (half and hour == 0):
        return None
    if half:
        hour = hour % _NOON_H + (_NOON_H if half == "p" else 0)
    sure = hour > _NOON_H or (len(found["hour"]) == 2 and hour < 10 and not half)  # 08 is of 24
    return hour * 60 + minute, half, sure
