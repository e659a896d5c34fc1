"""Fill-ups that don't fit the others: which figure is doubtful, why, and what would explain it.

Nothing is taken out of the log. The gauge is the witness where meter and pump contradict one another: it is no good
measure, but it knows a half empty tank from a full one.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from routeplan.lessons import Doubtful, Suspicion

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from routeplan.boats import Boat
    from routeplan.fillups import Entry, Fillup
    from routeplan.gauge_fit import GaugeFit
    from routeplan.levels import RowTruth
    from routeplan.meter_fit import SumVerdict

__all__ = ["Witnesses", "find_suspects", "possible_slips"]

_SUSPECT = 0.5  # share: likelier wrong than right
_SUSPECT_RUN = 0.9  # share: a run that burnt more than others may be honest; only a gross one is told
_BEYOND_TANK = 1.02  # share of the capacity: more is no error of a label, but a wrong figure
_FITS_SD = 1.5  # standard deviations: a slip of the pen explains a sum that is this close once it is put right
_CLEARER = 1.5  # standard deviations by which one of two levels must fit the gauge better, to say which is wrong


@dataclass(frozen=True, eq=False)
class Witnesses:
    """All that is known of a boat's fill-ups, once they are fitted.

    Parameters
    ----------
    boat
        The boat.
    entries
        Her fill-ups, in order of time.
    truths
        What really was at each.
    gauge
        Her gauge; None where none was read.
    gauge_good
        [share] How likely each gauge reading is honest, by row; None where there is none.
    burn_good
        [share] The same of each run's burn.
    burn_ratios
        Real burn / burn table of each run.
    """

    boat: Boat
    entries: Sequence[Entry]
    truths: Sequence[RowTruth]
    gauge: GaugeFit | None
    gauge_good: Sequence[float | None]
    burn_good: Sequence[float | None]
    burn_ratios: Sequence[float | None]


def find_suspects(known: Witnesses) -> tuple[Suspicion, ...]:
    """List the fill-ups that don't fit.

    Parameters
    ----------
    known
        The boat's fill-ups, fitted.

    Returns
    -------
    In order of time, one at the most for each fill-up.
    """
    found = {row: _suspicion(known, row, which, 1.0, why) for row, which, why in _beyond_tank(known)}
    told = set()
    for row, truth in enumerate(known.truths):
        verdict = truth.verdict
        if verdict is None or id(verdict) in told or verdict.as_written >= _SUSPECT:
            continue
        told.add(id(verdict))
        last = max(r for r, other in enumerate(known.truths) if other.verdict is verdict)
        if verdict.ran_on > verdict.odd:
            where = last if verdict.row is None else verdict.row
            found.setdefault(where, _suspicion(known, where, "meter", verdict.ran_on, _ran_on(known, where, verdict)))
        else:
            doubtful, why = _odd(known, row, last, verdict)
            found.setdefault(last, _suspicion(known, last, doubtful, verdict.odd, why))
    for row, good in enumerate(known.gauge_good):
        if good is not None and good < _SUSPECT and row not in found:
            found[row] = _suspicion(known, row, "gauge", 1.0 - good, _gauge(known, row))
    for row, good in enumerate(known.burn_good):
        if good is not None and good < 1.0 - _SUSPECT_RUN and row not in found:
            found[row] = _suspicion(known, row, "burn", 1.0 - good, _burn(known, row))
    return tuple(found[row] for row in sorted(found))


def possible_slips(volume_l: float, litres_per_unit: float) -> Iterator[tuple[str, float]]:
    """Walk what a figure may have been before a slip of the pen: a lost or misplaced point, two digits exchanged.

    Parameters
    ----------
    volume_l
        [l] The figure as it stands.
    litres_per_unit
        [l] The unit that it was written in.

    Yields
    ------
    The figure as it would have been written, and in litres.

    Examples
    --------
    >>> [text for text, _ in possible_slips(48.3, 1.0)]
    ['4.8', '483.0', '84.3', '43.8']
    """
    written = f"{volume_l / litres_per_unit:.1f}"
    for factor in (0.1, 10.0):
        text = f"{float(written) * factor:.1f}"
        yield text, float(text) * litres_per_unit
    places = [i for i, letter in enumerate(written) if letter.isdigit()]
    for one, other in pairwise(places):
        if written[one] != written[other]:
            letters = list(written)
            letters[one], letters[other] = letters[other], letters[one]
            text = "".join(letters)
            if float(text) > 0:
                yield f"{float(text):.1f}", float(text) * litres_per_unit


def _beyond_tank(known: Witnesses) -> Iterator[tuple[int, Doubtful, str]]:
    """Find figures that can't be: an import that was held against no tank lets them in."""
    units, most_l = known.boat.units, _BEYOND_TANK * known.boat.tank.capacity_l
    for row, entry in enumerate(known.entries):
        figures: list[tuple[Doubtful, float]] = [
            ("pumped", entry.fillup.pumped_l),
            ("gauge", entry.fillup.gauge_before_l or 0.0),
        ]
        for which, volume_l in figures:
            if volume_l > most_l:
                what = "were pumped" if which == "pumped" else "showed on the gauge"
                holds = units.volume(known.boat.tank.capacity_l)
                yield row, which, f"{units.volume(volume_l)} {what}, and the tank holds {holds}: is it another unit?"
                break


def _suspicion(known: Witnesses, row: int, doubtful: Doubtful, probability: float, why: str) -> Suspicion:
    entry = known.entries[row]
    return Suspicion(
        entry=entry.entry, when=entry.fillup.when, doubtful=doubtful, probability=min(1.0, probability), why=why
    )


def _ran_on(known: Witnesses, row: int, verdict: SumVerdict) -> str:
    units = known.boat.units
    if verdict.reading == "was-reset":
        return "the log says that the meter was not reset at the fill-up before, but the sums fit only if it was"
    shown_l = sum(v for v in known.entries[row].fillup.meters_used_l if v is not None)
    before_l = sum(v for v in known.entries[row - 1].fillup.meters_used_l if v is not None)
    return (
        f"the meter was not reset at the fill-up before: its {units.volume(shown_l)} less the earlier "
        f"{units.volume(before_l)} fit what was pumped"
    )


def _odd(known: Witnesses, first: int, last: int, verdict: SumVerdict) -> tuple[Doubtful, str]:
    units, fillup = known.boat.units, known.entries[last].fillup
    off = units.volume(abs(verdict.off_l))
    witness = _by_the_gauge(known, last, fillup) if first == last else None
    told = (
        f"the meter shows {off} more than was pumped"
        if verdict.off_l < 0
        else f"the pump delivered {off} more than the meter shows"
    )
    if witness is not None:
        told += f"; the gauge sides with the {'pump' if witness == 'meter' else 'meter'}"
    slip = _slip(known, fillup, verdict, witness)
    pen = "a slip of the pen" if slip is None else f"a slip of the pen ({slip[1]} would fit)"
    doubtful = witness or (slip[0] if slip else "meter")
    if doubtful == "pumped":
        return doubtful, f"{told}: {pen} in the volume pumped, or a fill that wasn't to the mark"
    if verdict.off_l < 0:
        return doubtful, f"{told}: a fill-up that was not written down, a meter that was not reset, or {pen}"
    lost = "" if witness == "pumped" else ", or fuel lost: look for a leak"
    return doubtful, f"{told}: a reset in mid-tank, a meter that stuck, {pen}{lost}"


def _by_the_gauge(known: Witnesses, row: int, fillup: Fillup) -> Doubtful | None:
    """Ask the gauge which of two levels is true: by the pump, or by the meter."""
    truth = known.truths[row]
    if known.gauge is None or fillup.gauge_before_l is None or truth.metered_level_l is None or truth.level_l is None:
        return None
    shown_l = known.gauge.shows_l([truth.level_l, truth.metered_level_l]).mean(axis=0)
    scatter_l = known.gauge.scatter_l
    by_pump, by_meter = (abs(fillup.gauge_before_l - float(v)) / scatter_l for v in shown_l)
    if by_meter > by_pump + _CLEARER:
        return "meter"
    return "pumped" if by_pump > by_meter + _CLEARER else None


def _slip(
    known: Witnesses, fillup: Fillup, verdict: SumVerdict, doubtful: Doubtful | None
) -> tuple[Doubtful, str] | None:
    """Look for a slip of the pen that would explain the sum."""
    per_unit = known.boat.units.litres_per_unit
    label = known.boat.units.volume_label
    figures: list[tuple[Doubtful, float | None, float]] = [("pumped", fillup.pumped_l, 1.0)]
    if fillup.meter2_used_l is None:  # of two meters that agree, neither is a slip
        figures.append(("meter", fillup.meter_used_l, -1.0))
    for name, figure_l, sign in figures:
        if figure_l is None or (doubtful is not None and doubtful != name):
            continue
        for text, slip_l in possible_slips(figure_l, per_unit):
            if name == "pumped" and slip_l > known.boat.tank.capacity_l:
                continue
            if abs(verdict.off_l + sign * (slip_l - figure_l)) < _FITS_SD * verdict.off_sd_l:
                return name, f"{text} {label} for {figure_l / per_unit:.1f}"
    return None


def _gauge(known: Witnesses, row: int) -> str:
    units, reading_l = known.boat.units, known.entries[row].fillup.gauge_before_l
    level_l = known.truths[row].level_l
    shown, there = units.volume(reading_l or 0.0), units.volume(max(0.0, level_l or 0.0))
    return f"the gauge showed {shown} with about {there} in the tank: a slip of the pen, or a gauge that sticks"


def _burn(known: Witnesses, row: int) -> str:
    ratio = known.burn_ratios[row] or 1.0
    return (
        f"this run burnt {ratio:.2f} times what the burn table says: are distance and hours right, was she towing, "
        "foul or heavily laden?"
    )
