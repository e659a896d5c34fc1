"""Fuel aboard now: from meter, gauge or both, each corrected and weighed by what it is worth.

The level is laid out on a grid. The meter gives its density: the last full mark, what part fills added, less what was
used since, for every factor and scatter that the log leaves possible. The gauge gives the likelihood of its reading at
each level. Their product is the answer. Beside "as read" the meter may have run on since before the last fill-up, or be
odd; the gauge may be odd; each with its prior, so that two instruments that contradict one another widen the answer
and don't sharpen it.
"""

from __future__ import annotations

import math
from statistics import NormalDist
from typing import TYPE_CHECKING, Annotated, TypeAlias

import numpy as np
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from layers.errors import InputError
from routeplan import priors
from routeplan.closures import read_use
from routeplan.fuel import FuelAboard, promised_range_nmi
from routeplan.meter_fit import fit_meters
from routeplan.teaching import meter_prior

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from routeplan.boats import Boat
    from routeplan.gauge_fit import GaugeFit
    from routeplan.teaching import Taught

__all__ = ["Aboard", "Guess", "Readings", "find_aboard", "level_by_gauge"]

Floats: TypeAlias = "NDArray[np.float64]"

_CELLS = 600  # of the tank: finer than any instrument
_LOW, _HIGH = 0.05, 0.95  # share: the ends of a 90 % interval
_Z = NormalDist().inv_cdf(_HIGH)
_CONFLICT = 0.01  # share: instruments that disagree by more than this chance, either way, are told
_DOUBTED = 0.8  # share: how sure one must be to name the instrument that is wrong
_POINTS = 1500  # of the meter's posterior: the heaviest ones carry all but a hair
_LAST_FIFTH = 0.2  # share of the tank
_DRY_SHARE = 0.01  # of the capacity: an empty tank
_EARLIER = "earlier reset"  # a reset more or less than the log has, at a part fill since the last full mark
_LEAST_WITHIN = 1e-4  # share of a density that must lie in the tank: less is the farthest tail of the meter factor
_EMPTY_BY_METER = (
    "By the meter more has been used than was aboard: was it not reset at the last fill-up, is a fill-up missing from "
    "the log, or is the figure in another unit?"
)


class _Value(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Readings(_Value):
    """What the instruments say now.

    Parameters
    ----------
    meters_l
        [l] What each meter shows, used since it was last reset; None where not read.
    gauge_l
        [l] What the gauge shows; None where not read.
    """

    meters_l: Annotated[tuple[Annotated[float, Field(ge=0)], ...], Field(min_length=1, max_length=2)] | None = None
    gauge_l: Annotated[float, Field(ge=0)] | None = None


class Guess(_Value):
    """A level, and how sure it is.

    Parameters
    ----------
    mean_l, sd_l
        [l] The level, as likely more as less, and the standard deviation that its 90 % interval stands for.
    low_l, high_l
        [l] Ends of its 90 % interval.
    """

    mean_l: float
    sd_l: float
    low_l: float
    high_l: float


class Aboard(_Value):
    """Fuel aboard now.

    Parameters
    ----------
    fuel
        What planning uses: mean and standard deviation. Where the instruments contradict one another these are of the
        one that says less.
    mean_l, sd_l, low_l, high_l
        [l] The best figure, its standard deviation, and the ends of the 90 % interval, both instruments weighed.
    safe_l
        [l] What may be counted on: the low end; where the instruments contradict one another, the lower of their two
        low ends.
    by_meter, by_gauge
        By one alone; None where it was not read.
    agree
        Whether they agree within chance; true where only one was read.
    findings
        What must be said, in words, the gravest first.
    usable_l
        [l] What may be burnt, above unusable fuel and reserve, of what may be counted on.
    range_nmi
        [nmi] At cruising speed, the distance that may be promised, and never more than the usable fuel goes.
    takes_l, takes_low_l, takes_high_l
        [l] How much the tank will take to the full mark: mean, and 90 % interval.
    fillups
        Fill-ups of the log that it rests on.
    counts_from
        The fill-up that the meter is counted from; None where it isn't read, or the log has none.
    """

    fuel: FuelAboard
    mean_l: float
    sd_l: float
    low_l: float
    high_l: float
    safe_l: float
    by_meter: Guess | None
    by_gauge: Guess | None
    agree: bool
    findings: tuple[str, ...]
    usable_l: float
    range_nmi: float
    takes_l: float
    takes_low_l: float
    takes_high_l: float
    fillups: int
    counts_from: AwareDatetime | None


def find_aboard(taught: Taught, readings: Readings, confidence: float = 0.9) -> Aboard:
    """Tell the fuel aboard now.

    Parameters
    ----------
    taught
        What the boat's log taught.
    readings
        What the instruments say; at least one of them.
    confidence
        [share] Of arrivals that are to keep the whole reserve, for the range.

    Returns
    -------
    Fuel aboard as mean, standard deviation and interval, and what must be said of it.

    Raises
    ------
    InputError
        Nothing was read, a reading is beyond the tank, the number of meters isn't the log's, or the meter alone can't
        tell as the log holds no full mark to count from.
    """
    boat = taught.lesson.boat
    _check(taught, readings)
    levels = (np.arange(_CELLS) + 0.5) * boat.tank.capacity_l / _CELLS
    flat = np.full(_CELLS, 1.0 / _CELLS)
    meter_ways = _meter_densities(taught, readings.meters_l, levels) if readings.meters_l is not None else {}
    gauge = taught.gauge_fit
    honest = gauge.likelihood(readings.gauge_l, levels, odd=False) if readings.gauge_l is not None else None
    notes = _notes_of_log(taught, readings, counted=bool(meter_ways))
    by_meter = by_gauge = None
    if meter_ways:
        by_meter = _guess(levels, np.sum([share * density for share, density in meter_ways.values()], axis=0))
    if honest is not None and readings.gauge_l is not None:
        by_gauge = _guess(levels, _normal(gauge.likelihood(readings.gauge_l, levels, odd=True) * flat))
    if meter_ways and honest is not None and readings.gauge_l is not None:
        both, shares = _join(meter_ways, honest, levels)
        chance = _chance_of(gauge, readings.gauge_l, levels, meter_ways["as-written"][1])
        joined: Guess | None = _guess(levels, both)
        agree = chance >= _CONFLICT
    else:
        joined, shares, agree = by_meter or by_gauge, {}, True
    if joined is None:
        raise AssertionError("unreachable")
    answer = joined
    if meter_ways and _guess(levels, meter_ways["as-written"][1]).high_l < _DRY_SHARE * boat.tank.capacity_l:
        notes = [_EMPTY_BY_METER, *notes]
    planning, safe_l = answer, answer.low_l
    if not agree and by_meter is not None and by_gauge is not None:
        planning = min(by_meter, by_gauge, key=lambda guess: guess.low_l)
        safe_l = planning.low_l
        notes = [*_conflict(taught, readings, by_meter, by_gauge, shares, planning), *notes]
    fuel = FuelAboard(mean_l=planning.mean_l, sd_l=planning.sd_l, how=_how(boat, readings, planning, agree=agree))
    mark_l = _Z * taught.lesson.full_mark_sd_l.mean
    room_l = boat.tank.full_mark_l - answer.mean_l
    return Aboard(
        fuel=fuel,
        mean_l=answer.mean_l,
        sd_l=answer.sd_l,
        low_l=answer.low_l,
        high_l=answer.high_l,
        safe_l=safe_l,
        by_meter=by_meter,
        by_gauge=by_gauge,
        agree=agree,
        findings=tuple(notes),
        usable_l=boat.usable_l(safe_l),
        range_nmi=min(
            promised_range_nmi(taught.boat, fuel, boat.cruising_speed_kn, confidence),
            taught.boat.range_nmi(safe_l, boat.cruising_speed_kn),
        ),
        takes_l=max(0.0, room_l),
        takes_low_l=max(0.0, room_l - math.hypot(answer.high_l - answer.mean_l, mark_l)),
        takes_high_l=max(0.0, room_l + math.hypot(answer.mean_l - answer.low_l, mark_l)),
        fillups=taught.lesson.fillups,
        counts_from=taught.fillups[-1].when if meter_ways and taught.fillups else None,
    )


def level_by_gauge(taught: Taught, gauge_l: float, step_l: float = 0.0) -> Guess:
    """Tell the level by the gauge alone, corrected, taking it that the gauge works.

    Parameters
    ----------
    taught
        What the boat's log taught.
    gauge_l
        [l] What the gauge shows.
    step_l
        [l] What the reading was rounded to, where that is coarser than the log's readings: an eighth of the tank, say.

    Returns
    -------
    The level, before anything else is known of it.

    Raises
    ------
    InputError
        The reading is beyond the tank.
    """
    _check(taught, Readings(gauge_l=gauge_l))
    levels = (np.arange(_CELLS) + 0.5) * taught.lesson.boat.tank.capacity_l / _CELLS
    readings = gauge_l + step_l * np.linspace(-0.5, 0.5, 9 if step_l else 1)
    low, high = 0.0, taught.lesson.boat.tank.capacity_l
    likely = [taught.gauge_fit.likelihood(float(np.clip(r, low, high)), levels, odd=False) for r in readings]
    return _guess(levels, _normal(np.mean(likely, axis=0)))


def _check(taught: Taught, readings: Readings) -> None:
    boat = taught.lesson.boat
    units, capacity_l = boat.units, boat.tank.capacity_l
    if readings.meters_l is None and readings.gauge_l is None:
        raise InputError("aboard", "neither meter nor gauge was read", remedy="give --meter, --gauge or both")
    slack_l = 0.05 * units.litres_per_unit
    if readings.gauge_l is not None and readings.gauge_l > capacity_l + slack_l:
        problem = f"more than {boat.name}'s tank holds, {units.echo_volume(capacity_l)}"
        raise InputError("--gauge", problem, value=units.volume(readings.gauge_l), remedy="check figure and unit")
    if readings.meters_l is not None and taught.meters and len(readings.meters_l) != taught.meters:
        count = "one meter is" if taught.meters == 1 else "two meters are"
        remedy = "write 22.7+24.1" if taught.meters == 2 else "give one figure"
        raise InputError("--meter", f"in the log {count} read", value=len(readings.meters_l), remedy=remedy)


def _meter_densities(taught: Taught, shown_l: tuple[float, ...], levels: Floats) -> dict[str, tuple[float, Floats]]:
    """Give the level's density by the meter for each way of taking it, with the way's prior share."""
    boat = taught.lesson.boat
    fit = taught.meter_fit if taught.meters else fit_meters((), len(shown_l), meter_prior(boat))
    last = taught.fillups[-1] if taught.fillups else None
    open_sum = taught.closures[-1] if taught.closures and not taught.closures[-1].full else None
    if open_sum is not None and not open_sum.metered:
        return {}
    ran_on = last is not None and not last.meter_reset
    ways = read_use(shown_l, last, len(shown_l), reset=not ran_on)
    if not ways or (ran_on and ways[0].reading == "was-reset"):
        return {}  # reset some time since the last fill-up: what was used before that isn't known
    added_l = 0.0 if open_sum is None else open_sum.pumped_l
    pasts = [(None, ())] if open_sum is None else [(row, used_l) for row, _, used_l in open_sum.choices()]
    heavy = np.argsort(fit.weights)[::-1][:_POINTS]
    weights = fit.weights[heavy] / fit.weights[heavy].sum()
    found: dict[str, tuple[float, Floats]] = {}
    for row, past_l in pasts:
        for way in ways if row is None else ways[:1]:  # one slip at a time
            used = np.array([*past_l, way.metered_l])
            metered = fit.factors[heavy] @ used.sum(axis=0)
            noise = fit.meter_sd_share[heavy] ** 2 * (fit.factors[heavy] ** 2 @ (used**2).sum(axis=0))
            mean = boat.tank.full_mark_l + fit.last_mean_l[heavy] + added_l - metered
            sd = np.sqrt(fit.last_var_l2[heavy] + noise + (0.0005 * boat.tank.capacity_l) ** 2)
            name = way.reading if row is None else f"{_EARLIER} {row}"
            found[name] = (priors.RESET_FORGOTTEN_SHARE, _mixture(mean, sd, weights, levels))
    # Who has no log says by giving the meter that it counts from a full tank; a log of part fills says nothing of one.
    odd_share = priors.ODD_SHARE if _has_full_mark(taught) or not taught.fillups else priors.START_ODD_SHARE
    rest = 1.0 - odd_share - (len(found) - 1) * priors.RESET_FORGOTTEN_SHARE
    found["as-written"] = (max(rest, odd_share), found.pop(ways[0].reading)[1])
    found["odd"] = (odd_share, np.full(len(levels), 1.0 / len(levels)))
    return found


def _has_full_mark(taught: Taught) -> bool:
    return any(closure.full for closure in taught.closures)


def _mixture(mean: Floats, sd: Floats, weights: Floats, levels: Floats) -> Floats:
    density = np.zeros_like(levels)
    for start in range(0, len(mean), 250):  # in pieces: the whole table would be large
        part = slice(start, start + 250)
        z = (levels[None, :] - mean[part, None]) / sd[part, None]
        density += (weights[part, None] / sd[part, None] * np.exp(-0.5 * z**2)).sum(axis=0)
    within = density.sum() * (levels[1] - levels[0]) / math.sqrt(2.0 * math.pi)
    if within < _LEAST_WITHIN:  # all but a hair of it lies below an empty tank, or above a full one
        density[0 if mean.mean() < levels[0] else -1] = 1.0
    return _normal(density)


def _join(ways: dict[str, tuple[float, Floats]], honest: Floats, levels: Floats) -> tuple[Floats, dict[str, float]]:
    """Join meter and gauge: the density, and how likely each way of taking the two is."""
    odd_gauge = np.full(len(levels), 1.0 / (levels[-1] - levels[0]))
    total, shares = np.zeros(len(levels)), {}
    for name, (share, density) in ways.items():
        for gauge_name, gauge_share, likelihood in (
            ("gauge", 1.0 - priors.ODD_SHARE, honest),
            ("odd gauge", priors.ODD_SHARE, odd_gauge),
        ):
            part = share * gauge_share * density * likelihood
            shares[f"{name}, {gauge_name}"] = float(part.sum())
            total = total + part
    whole = sum(shares.values())
    return _normal(total), {name: share / whole for name, share in shares.items()}


def _chance_of(gauge: GaugeFit, reading_l: float, levels: Floats, density: Floats) -> float:
    """Return the chance of a gauge reading at least as far off as this one, either way, if both are honest.

    A rounded reading is as far off as the nearer end of what it stands for.
    """
    half = 0.5 * gauge.step_l
    lower = float(gauge.chance_below(reading_l + half, levels) @ density)
    upper = 1.0 - float(gauge.chance_below(reading_l - half, levels) @ density)
    return min(1.0, 2.0 * min(lower, upper))


def _normal(density: Floats) -> Floats:
    return np.asarray(density / density.sum(), dtype=np.float64)


def _guess(levels: Floats, density: Floats) -> Guess:
    """Tell a distribution by its middle and its 90 % interval.

    The tails are long, as slips may put the level anywhere: moments would follow the slips. The middle and the wider
    half of the interval make the normal distribution that planning uses.
    """
    edges = np.concatenate([[0.0], levels + 0.5 * (levels[1] - levels[0])])
    rises = np.concatenate([[0.0], np.cumsum(density)])
    low, middle, high = (float(np.interp(share, rises, edges)) for share in (_LOW, 0.5, _HIGH))
    return Guess(mean_l=middle, sd_l=max(high - middle, middle - low) / _Z, low_l=low, high_l=high)


def _how(boat: Boat, readings: Readings, planning: Guess, *, agree: bool) -> str:
    units = boat.units
    said = []
    if readings.meters_l is not None:
        said.append(f"meter {' + '.join(units.volume(v) for v in readings.meters_l)}")
    if readings.gauge_l is not None:
        said.append(f"gauge {units.volume(readings.gauge_l)}")
    told = f"{units.volume_pm(planning.mean_l, planning.sd_l)} by {' and '.join(said)}"
    return told if agree else f"{told}, which disagree: the one that says less"


def _notes_of_log(taught: Taught, readings: Readings, *, counted: bool) -> list[str]:
    boat, notes = taught.lesson.boat, []
    if readings.meters_l is not None and not counted:
        if readings.gauge_l is None:
            raise InputError(
                "--meter",
                "can't be counted from a full mark: since the last one the meter didn't see all that was used",
                remedy="add --gauge, or fill to the mark",
            )
        notes.append("The meter can't be counted from a full mark in the log, so only the gauge is used.")
    if not taught.fillups:
        notes.append(
            f"The log holds no fill-up of {boat.name}: a full tank when the meter was reset, and instruments like "
            "most boats', are taken on trust."
        )
        if readings.meters_l is not None and len(readings.meters_l) == 1:
            notes.append("The meter's figure is taken for all engines together; write two meters as 15.4+15.8.")
    elif counted and not _has_full_mark(taught):
        notes.append("No full mark is in the log: a full tank when the meter was first reset is taken on trust.")
    last = taught.fillups[-1] if taught.fillups else None
    if last is not None and not last.filled_to_full and counted and _has_full_mark(taught):
        notes.append("The last fill-up wasn't to the mark: what it left aboard is counted from the full one before.")
    return notes


def _conflict(
    taught: Taught,
    readings: Readings,
    by_meter: Guess,
    by_gauge: Guess,
    shares: dict[str, float],
    planning: Guess,
) -> list[str]:
    """Tell that meter and gauge disagree, which to distrust, and why."""
    boat = taught.lesson.boat
    units = boat.units
    meter_says, gauge_says = units.volume(by_meter.mean_l), units.volume(by_gauge.mean_l)
    safe = units.volume_down(planning.low_l)
    found = [
        f"Meter and gauge disagree beyond chance: {meter_says} by the meter, {gauge_says} by the gauge.",
        f"Count on {safe} until you know which is right.",
    ]
    ran_on = shares.get("reset-forgotten, gauge", 0.0)
    odd_meter = shares.get("odd, gauge", 0.0) + shares.get("was-reset, gauge", 0.0)
    odd_gauge = shares.get("as-written, odd gauge", 0.0)
    earlier = sum(share for name, share in shares.items() if name.startswith(_EARLIER) and name.endswith(", gauge"))
    reading_l = readings.gauge_l or 0.0
    low_gauge = reading_l < _LAST_FIFTH * boat.tank.capacity_l
    if ran_on > _DOUBTED:
        found.append(
            "Distrust the meter: most likely it wasn't reset at the last fill-up; less its reading then, the two agree."
        )
    elif earlier > _DOUBTED:
        found.append(
            "Distrust the meter's count: since the last full mark it was most likely not reset at a part fill-up as "
            "the log says; taken otherwise, the two agree."
        )
    elif by_gauge.mean_l < by_meter.mean_l:
        reasons = ["fuel may have been lost: check the bilge for fuel before you start anything, and look for a leak"]
        reasons.append("the meter may have been reset since the last fill-up, or have stuck")
        if low_gauge:
            reasons.append("the gauge may read low so near the bottom of the tank")
        found.append(f"The gauge says less: {'; '.join(reasons)}.")
    else:
        reasons = ["the meter may not have been reset at the last fill-up", "a fill-up may be missing from the log"]
        reasons.append("the gauge may stick or read high, which leaves a boat dry")
        found.append(f"The gauge says more: {'; '.join(reasons)}.")
    if max(odd_meter, odd_gauge) > _DOUBTED and max(ran_on, earlier) <= _DOUBTED:
        found.append(f"By what each is worth, distrust the {'meter' if odd_meter > odd_gauge else 'gauge'} first.")
    return found
