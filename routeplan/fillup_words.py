"""What the commands of the log print: what was understood, so that a slip is seen at a glance."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from routeplan.console import wrapped
from routeplan.fillup_checks import metered_l, ratio_means_something
from routeplan.moments import shown_gap, shown_moment, write_moment
from routeplan.run_words import table, tell_waiting
from routeplan.units_shown import DisplayUnits, shown_distance, shown_duration

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

    from routeplan.boats import Boat
    from routeplan.fillup_import import FillupImport
    from routeplan.fillups import Entry, Fillup
    from routeplan.moments import WallClock
    from routeplan.quantities import VolumeUnit
    from routeplan.runs import RunEntry
    from routeplan.typed_fillups import Understood
    from routeplan.units_shown import UnitSystem

__all__ = [
    "entry_document",
    "tell_entered",
    "tell_import",
    "tell_list",
    "tell_withdrawn",
    "units_of",
]

_LABEL = 8  # characters
_FIELDS = {  # of the labels that are not named like their field; what they stand for is named where several do
    "GAUGE": {"gauge_before_l": ""},
    "run": {"distance_run_nmi": "distance", "engine_hours_h": "hours", "speeds_run": "speeds"},
    "sea": {"sea": "sea", "people": "people"},
}


def units_of(unit: VolumeUnit) -> DisplayUnits:
    """Return the display units that go with a unit of volume.

    Parameters
    ----------
    unit
        The unit.

    Returns
    -------
    The units.
    """
    systems: dict[VolumeUnit, UnitSystem] = {"l": "metric", "usgal": "us", "impgal": "imperial"}
    return DisplayUnits(systems[unit])


def entry_document(entry: Entry) -> dict[str, Any]:
    """Tell an entry as JSON, in internal units.

    Parameters
    ----------
    entry
        The entry.

    Returns
    -------
    Plain values; moments in UTC with a Z.
    """
    document = entry.model_dump(mode="json")
    fillup = document.pop("fillup")
    document["entered"], fillup["when"] = write_moment(entry.entered), write_moment(entry.fillup.when)
    return {**document, **fillup}


def tell_entered(
    understood: Understood, name: str, boat: Boat, where: str, clock: WallClock, *, begun: bool = False
) -> str:
    """Tell what was entered, number by number.

    Parameters
    ----------
    understood
        The fill-up, and where it was taken from.
    name
        The entry's name in the log.
    boat
        Whose it is.
    where
        The log.
    clock
        Whose clock on the wall the moment is shown by.
    begun
        Whether the log was begun for it.

    Returns
    -------
    Text of several lines.
    """
    fillup, old = understood.fillup, None if understood.replaces is None else understood.replaces.fillup
    lines = _lines(fillup, boat.units, clock)
    was = {} if old is None else _lines(old, boat.units, clock)
    out = [f"Entered as {name} in {where}{', a new log' if begun else ''}"]
    if understood.replaces is not None:
        out.append(f"in place of {understood.replaces.entry}, which stays in the log as it was")
    first = understood.before is None and old is None
    out.append(_line("boat", f"{boat.name}{', her first fill-up in this log' if first else ''}"))
    for label, text in lines.items():
        taken_from = _taken_from(label, understood)
        more = f" ({taken_from})" if taken_from else ""
        if label == "when" and understood.before is not None:
            more += f", {shown_gap(fillup.when - understood.before.when)} after the fill-up before"
        if old is not None and was.get(label, "") != text:
            more += f"   <- was {was.get(label) or 'not given'}"
        out.append(_line(label, text + more))
    out += [_line(label, f"   <- taken out, was {text}") for label, text in was.items() if label not in lines]
    check = _check(fillup, boat, understood.before)
    if check:
        out.append(_line("check", check))
    out += [wrapped(f"Note: {note}.") for note in understood.notes]
    out.append(f"Something wrong? The same command with --replaces {name} corrects it; = keeps a number as it is.")
    return "\n".join(out)


def _taken_from(label: str, understood: Understood) -> str:
    """Tell where a line's figures are from; which of them, where some were typed."""
    fields = _FIELDS.get(label, {label: ""})
    taken = [name for name in fields if name in understood.assumed]
    if not taken:
        return ""
    given = [name for name in fields if getattr(understood.fillup, name, None) not in {None, ()}]
    which = "" if set(given) <= set(taken) else f"{' and '.join(fields[name] for name in taken)} "
    return which + understood.assumed[taken[0]]


def tell_withdrawn(old: Entry, name: str, units: DisplayUnits, where: str, clock: WallClock) -> str:
    """Tell what was withdrawn.

    Parameters
    ----------
    old
        The entry that no longer counts.
    name
        Name of the withdrawal.
    units
        What to show volumes in.
    where
        The log.
    clock
        Whose clock on the wall the moment is shown by.

    Returns
    -------
    Text of several lines.
    """
    lines = {"boat": old.fillup.boat, **_lines(old.fillup, units, clock)}
    return "\n".join(
        [
            f"Withdrawn: {old.entry} in {where} no longer counts; it stays in the history, as does this, {name}",
            *(_line(label, text) for label, text in lines.items()),
        ]
    )


def tell_list(
    entries: Sequence[Entry],
    where: str,
    units: DisplayUnits,
    clock: WallClock,
    *,
    replaced: dict[str, str] | None = None,
    waiting: Sequence[RunEntry] = (),
) -> str:
    """Tell what a log holds.

    Parameters
    ----------
    entries
        The entries, in the order to be told.
    where
        The log.
    units
        What to show volumes in.
    clock
        Whose clock on the wall the moments are shown by.
    replaced
        By what each entry was replaced, where the whole history is told; None where it isn't.
    waiting
        Runs that wait for the next fill-up.

    Returns
    -------
    Text of several lines.
    """
    boats = tuple(dict.fromkeys(entry.fillup.boat for entry in entries))
    unit = {"us": "US gallons", "imperial": "imperial gallons", "metric": "litres"}[units.system]
    if replaced is not None:
        what = "1 entry" if len(entries) == 1 else f"{len(entries):,} entries"
    else:
        what = _counted(len(entries), "fill-up")
    out = [f"{where}: {what}, in {unit}"]
    for boat in boats:
        own = [entry for entry in entries if entry.fillup.boat == boat]
        rows = [_row(entry, before, units, clock, replaced) for before, entry in _with_before(own)]
        head = ("entry", "when", "dock", "meter", "gauge", "pumped", "pump/meter", "")
        out += ["", f"{boat}, {len(own)}", *table(head, rows, right=frozenset({3, 4, 5, 6}))]
    return "\n".join([*out, *tell_waiting(waiting, units, clock)])


def tell_import(given: FillupImport, where: str, *, written: bool) -> str:
    """Tell what an import adds, or would add.

    Parameters
    ----------
    given
        The file, read to its end.
    where
        The log.
    written
        Whether it was written, or only looked at.

    Returns
    -------
    Text of several lines.
    """
    unit = {"l": "litres", "usgal": "US gallons", "impgal": "imperial gallons"}[given.unit]
    rows = given.new + given.known
    out = [f"{given.path}: {_counted(rows, 'row')}, volumes in {unit}", f"  {given.new:,} new{_of_which(given)}"]
    if given.known:
        out.append(f"  {given.known:,} in the log already, left out{_known(given)}")
    if given.spans:
        spans = [
            (f"  {boat}", f"{span.count:,}", _span(span.first, span.last)) for boat, span in sorted(given.spans.items())
        ]
        out += ["", *table(("  boat", "new", "from and to (UTC)"), spans, right=frozenset({1}))]
        out += ["", f"As they were understood, in {unit}:", *_understood_rows(given)]
    out += [wrapped(f"Note: {caution}{'' if caution.endswith('?') else '.'}") for caution in given.cautions]
    out.append("")
    if written:
        out.append(f"Wrote {given.new:,} entries into {where}." if given.new else f"Nothing to write into {where}.")
    elif given.new:
        out.append(f"Nothing was written. Add --yes to write the {given.new:,} new ones into {where}.")
    else:
        out.append(f"Nothing was written, and there is nothing new for {where}.")
    return "\n".join(out)


def _lines(fillup: Fillup, units: DisplayUnits, clock: WallClock) -> dict[str, str]:
    """Put each part of a fill-up into words, in the order that it was typed in."""
    marks = "to the full mark" if fillup.filled_to_full else "a part fill, not to the full mark"
    reset = "meter reset after" if fillup.meter_reset else "meter NOT reset after"
    gauge_l, price = fillup.gauge_before_l, fillup.price_per_l
    lines = {
        "when": shown_moment(fillup.when, clock),
        "dock": fillup.dock or "not said",
        "METER": _meter(fillup, units),
        "GAUGE": "not read" if gauge_l is None else f"{units.echo_volume(gauge_l)} left before the fill",
        "PUMPED": f"{units.echo_volume(fillup.pumped_l)}, {marks}; {reset}",
    }
    if fillup.since:
        lines["since"] = ", ".join(fillup.since)
    if price is not None:
        total = f"{price * fillup.pumped_l:,.2f} in all"
        lines["price"] = f"{units.price(price, '').strip()}, {total}"
    run = []
    if fillup.distance_run_nmi is not None:
        run.append(shown_distance(fillup.distance_run_nmi))
    if fillup.engine_hours_h is not None:
        run.append(f"{shown_duration(fillup.engine_hours_h)} of engine")
    if fillup.speeds_run:
        slow, fast = fillup.speeds_run[0].speed_kn, fillup.speeds_run[-1].speed_kn
        hours_h = sum(each.time_h for each in fillup.speeds_run)
        run.append(f"{shown_duration(hours_h)} under way at {slow:.1f} to {fast:.1f} kn")
    if run:
        lines["run"] = ", ".join(run)
    if fillup.sea is not None or fillup.people is not None:
        people = None if fillup.people is None else f"{fillup.people} aboard"
        lines["sea"] = ", ".join(part for part in (fillup.sea, people) if part)
    if fillup.note:
        lines["note"] = fillup.note
    return lines


def _meter(fillup: Fillup, units: DisplayUnits) -> str:
    read = fillup.meters_used_l
    if all(figure is None for figure in read):
        return "not read"
    total = metered_l(fillup)
    each = " + ".join("not read" if v is None else units.volume(v).rsplit(" ", 1)[0] for v in read)
    if total is None:
        return f"{each} {units.volume_label} used since the last reset"
    sums = f"{each} = " if len(read) > 1 else ""
    return f"{sums}{units.echo_volume(total)} used since the last reset"


def _check(fillup: Fillup, boat: Boat, before: Fillup | None) -> str:
    """Hold the three numbers against one another, as a skipper would in the head."""
    parts = []
    metered = metered_l(fillup)
    if metered:
        ratio = f"pump / meter = {fillup.pumped_l / metered:.3f}"
        meaning = ratio_means_something(fillup, before)
        parts.append(ratio if meaning else f"{ratio}, which says nothing here: {_why_not(fillup, before)}")
    if fillup.gauge_before_l is not None:
        together = boat.units.volume(fillup.gauge_before_l + fillup.pumped_l)
        mark = boat.units.volume(boat.tank.full_mark_l)
        parts.append(f"gauge + pump = {together}, full mark {mark}")
    return "; ".join(parts)


def _why_not(fillup: Fillup, before: Fillup | None) -> str:
    if not fillup.filled_to_full:
        return "a part fill"
    if fillup.since:
        return ", ".join(fillup.since)
    if before is not None and not before.filled_to_full:
        return "the last was a part fill"
    return "the meter was not reset before"


def _line(label: str, text: str) -> str:
    return f"  {label.ljust(_LABEL)}{text}"


def _with_before(entries: Iterable[Entry]) -> Iterable[tuple[Fillup | None, Entry]]:
    before: Fillup | None = None
    for entry in entries:
        yield before, entry
        before = entry.fillup


def _row(
    entry: Entry, before: Fillup | None, units: DisplayUnits, clock: WallClock, replaced: dict[str, str] | None
) -> tuple[str, ...]:
    fillup, metered = entry.fillup, metered_l(entry.fillup)
    marks = []
    if entry.withdrawn:
        marks.append(f"withdraws {entry.replaces}")
    elif entry.replaces is not None and replaced is not None:
        marks.append(f"replaces {entry.replaces}")
    if replaced is not None and entry.entry in replaced:
        marks.append(f"replaced by {replaced[entry.entry]}")
    marks += _marks(fillup)
    ratio = ""
    if metered and replaced is None and ratio_means_something(fillup, before):
        ratio = f"{fillup.pumped_l / metered:.3f}"
    return (
        entry.entry,
        shown_moment(fillup.when, clock).split(" (")[0],
        _cut(fillup.dock),
        _meters(fillup, units),
        "-" if fillup.gauge_before_l is None else _bare(fillup.gauge_before_l, units),
        _bare(fillup.pumped_l, units),
        ratio,
        ", ".join(marks),
    )


def _bare(volume_l: float, units: DisplayUnits) -> str:
    return units.volume(volume_l).rsplit(" ", 1)[0]


def _understood_rows(given: FillupImport) -> list[str]:
    """Show the rows at either end, so that a column in the wrong place or unit is seen."""
    units = units_of(given.unit)
    shown = [*given.first_rows, *given.last_rows]
    rows = [
        (
            f"  {row.line}",
            row.fillup.boat,
            write_moment(row.fillup.when),
            _cut(row.fillup.dock),
            _meters(row.fillup, units),
            "-" if row.fillup.gauge_before_l is None else _bare(row.fillup.gauge_before_l, units),
            _bare(row.fillup.pumped_l, units),
            ", ".join(_marks(row.fillup)) or "full, reset",
        )
        for row in shown
    ]
    if given.new > len(shown):
        rows.insert(len(given.first_rows), ("  ...", "", "", "", "", "", "", ""))
    head = ("  line", "boat", "when (UTC)", "dock", "meter", "gauge", "pumped", "")
    return table(head, rows, right=frozenset({4, 5, 6}))


def _marks(fillup: Fillup) -> list[str]:
    marks = [] if fillup.filled_to_full else ["part"]
    if not fillup.meter_reset:
        marks.append("not reset")
    return [*marks, *fillup.since]


def _meters(fillup: Fillup, units: DisplayUnits) -> str:
    return "+".join("-" if v is None else _bare(v, units) for v in fillup.meters_used_l)


def _cut(text: str) -> str:
    return text if len(text) <= 24 else f"{text[:21]}..."


def _counted(number: int, noun: str) -> str:
    return f"{number:,} {noun}{'' if number == 1 else 's'}"


def _of_which(given: FillupImport) -> str:
    return f", of which {given.corrections:,} correct or withdraw others" if given.corrections else ""


def _known(given: FillupImport) -> str:
    more = []
    if given.otherwise:
        more.append(f"{given.otherwise:,} with another dock, note or the like, kept as the log has them")
    if given.past:
        more.append(f"{given.past:,} corrected or withdrawn since")
    return f" ({'; '.join(more)})" if more else ""


def _span(first: datetime, last: datetime) -> str:
    return f"{write_moment(first)} to {write_moment(last)}"
