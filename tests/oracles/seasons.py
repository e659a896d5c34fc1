"""A boat's season, simulated: fuel runs from the tank through the meters, the gauge hangs on a curve, the pump fills.

Nothing is shared with the product's fit: only the values `Boat` and `Fillup` are built. Truth is drawn from the figures
that the product states as its beliefs, written down here a second time; then the log is written as a skipper would,
with what the instruments show, and some rows of it are spoiled.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any, Literal, TypeAlias

import numpy as np

from routeplan.boats import Boat, BurnTable, Instruments, Reserve, Tank
from routeplan.fillups import Fillup

Floats: TypeAlias = np.ndarray[Any, np.dtype[np.float64]]
Kind: TypeAlias = Literal["reset-forgotten", "meter-typed", "gauge-typed", "pumped-typed"]
KINDS: tuple[Kind, ...] = ("reset-forgotten", "meter-typed", "gauge-typed", "pumped-typed")

LITRES = {"us": 3.785411784, "imperial": 4.54609, "metric": 1.0}  # l; both gallons are exact by definition

FACTOR_DEGREES, FACTOR_SCALE, FACTOR_LIMIT = 4, 0.0235, 0.05  # Student's t about 1; redrawn where further off
METER_SCATTER, METER_SCATTER_LOG_SD = 0.008, 0.5  # share of what was used
FULL_SD_LOG_SD = 0.4  # about the boat's own share of the capacity
GAUGE_SD_LOW, GAUGE_SD_CALM = 0.07, 0.03  # share of the capacity
GAUGE_LOW_END, GAUGE_SETTLED = 0.2, 0.4  # level as a share of the capacity
GAUGE_REACH = 0.3  # share of the capacity
GAUGE_SCATTER, GAUGE_SCATTER_LOG_SD = 0.012, 0.5  # share of the capacity
BURN_SD = 0.08
RUN_SD, RUN_LOG_SD = 0.04, 0.5
LEAST_LEFT = 0.08  # share of the capacity: no skipper runs lower
USED_SHARE = (0.2, 0.8)  # of the capacity, between fill-ups
PART_SHARE_FILLED = (0.3, 0.8)  # of what is missing
PART_NOT_RESET = 0.5  # of part fills: the meter is left to run on, and the log says so
TYPED_DIFFERS = 0.03  # share of the capacity; a smaller slip hides in the scatter and harms nobody
CURVE_SHARES = np.linspace(0.0, 1.0, 101)
_SIGMAS = 7.0  # beyond this many standard deviations a figure contradicts the truth: 1 in 4e11


@dataclass(frozen=True)
class GaugeCurve:
    """What the gauge shows at each level, but for its scatter.

    Parameters
    ----------
    capacity_l
        [l] The tank's.
    free_l
        [l] At each of `CURVE_SHARES`, what it would show had its dial no ends; rises everywhere.
    """

    capacity_l: float
    free_l: Floats

    def reading_l(self, level_l: float) -> float:
        """[l] What it shows at a level."""
        return float(np.clip(self.unclamped_l(level_l), 0.0, self.capacity_l))

    def unclamped_l(self, level_l: float) -> float:
        """[l] What it would show at a level had its dial no ends."""
        return float(np.interp(level_l / self.capacity_l, CURVE_SHARES, self.free_l))

    def level_l(self, reading_l: float) -> float | None:
        """[l] The level at which it shows a reading strictly inside its dial; None where it shows it at no level."""
        if not (0 < reading_l < self.capacity_l and self.free_l[0] <= reading_l <= self.free_l[-1]):
            return None
        return float(np.interp(reading_l, self.free_l, CURVE_SHARES)) * self.capacity_l


@dataclass(frozen=True)
class Truth:
    """What the season was drawn with.

    Parameters
    ----------
    meter_factors
        Used / metered of each meter, but for scatter.
    meter_factor
        The same of all together, with each engine drawing an even share.
    meter_scatter_share, gauge_scatter_l, full_mark_sd_l
        [share, l, l] Standard deviations of one meter's run, one gauge reading, one fill to the mark.
    gauge
        The gauge's curve.
    burn_factor, run_sd_share
        [1, share] Real burn / burn table, and how it varies from run to run.
    used_l, before_l, delivered_l, after_l
        [l] For each fill-up: used since the one before, level before, delivered, level after. The first run began with
        `start_l` aboard and the meters at zero.
    start_l
        [l] Level at the beginning: filled to the mark, as the log takes for granted.
    """

    meter_factors: tuple[float, ...]
    meter_factor: float
    meter_scatter_share: float
    gauge_scatter_l: float
    full_mark_sd_l: float
    gauge: GaugeCurve
    burn_factor: float
    run_sd_share: float
    start_l: float
    used_l: tuple[float, ...]
    before_l: tuple[float, ...]
    delivered_l: tuple[float, ...]
    after_l: tuple[float, ...]


@dataclass(frozen=True)
class Present:
    """Now: the boat has run on since the last fill-up.

    Parameters
    ----------
    meters_l, gauge_l
        [l] What the instruments show, as they stand.
    level_l, used_l
        [l] What is really aboard, and was used since the last fill-up.
    reset_forgotten
        Whether the meters ran on through the last fill-up although the log says that they were reset.
    """

    meters_l: tuple[float, ...]
    gauge_l: float
    level_l: float
    used_l: float
    reset_forgotten: bool


@dataclass(frozen=True)
class Season:
    """A simulated season.

    Parameters
    ----------
    boat
        As her file says.
    log
        As the skipper wrote it.
    truth
        What really was.
    spoiled
        Rows of the log that are wrong, and how.
    now
        The present moment.
    """

    boat: Boat
    log: tuple[Fillup, ...]
    truth: Truth
    spoiled: dict[int, Kind]
    now: Present

    @property
    def litres(self) -> float:
        """[l] The boat's display unit of volume."""
        return LITRES[self.boat.display_units]


def draw_season(
    rng: np.random.Generator,
    *,
    fillups: int | None = None,
    spoiled_share: float = 0.0,
    part_share: float = 0.12,
    meters: int = 1,
) -> Season:
    """Draw a season.

    Parameters
    ----------
    rng
        The source of chance.
    fillups
        How many; 12 to 26 where not given.
    spoiled_share
        [share] How likely each row is to be spoiled: half by a reset forgotten at the fill-up before, half by typing.
    part_share
        [share] How many fills don't reach the full mark.
    meters
        1, or 2 where each engine has its own.

    Returns
    -------
    The season.
    """
    boat = draw_boat(rng)
    count = int(rng.integers(12, 27)) if fillups is None else fillups
    return _Writer(rng, boat, meters).write(count, part_share, spoiled_share)


def draw_boat(rng: np.random.Generator) -> Boat:
    """Draw a boat of 150 to 600 l, in any display units.

    Parameters
    ----------
    rng
        The source of chance.

    Returns
    -------
    The boat.
    """
    system: Literal["us", "imperial", "metric"] = ("us", "imperial", "metric")[int(rng.integers(3))]
    unit_l = LITRES[system]
    capacity_l = float(np.round(rng.uniform(150, 600) / unit_l)) * unit_l
    size = capacity_l / 300
    return Boat(
        name="Guesswork",
        fuel="gasoline",
        length_overall_m=8.5,
        draught_m=0.9,
        air_draught_m=2.8,
        cruising_speed_kn=25.0,
        no_wake_kn=5.0,
        display_units=system,
        tank=Tank(
            capacity_l=capacity_l,
            unusable_l=0.03 * capacity_l,
            full_mark_l=float(np.round(rng.uniform(0.93, 0.97) * capacity_l, 1)),
        ),
        reserve=Reserve(rule="fraction", value=0.1),
        burn=BurnTable(
            speed_kn=(5.0, 9.0, 18.0, 22.0, 26.0, 30.0),
            burn_lph=tuple(float(np.round(size * burn, 2)) for burn in (9.0, 26.0, 41.0, 49.0, 60.0, 77.0)),
            idle_lph=3.0,
            unsteady_kn=(9.0, 17.0),
            sd_share=0.06,
        ),
        instruments=Instruments(aboard_sd_share=0.03, full_mark_sd_share=0.01),
    )


def draw_gauge(rng: np.random.Generator, capacity_l: float) -> GaugeCurve:
    """Draw a gauge: a Gaussian process about the true level, widest low in the tank, redrawn until it rises.

    Parameters
    ----------
    rng
        The source of chance.
    capacity_l
        [l] The tank's.

    Returns
    -------
    The curve.
    """
    sd = np.interp(CURVE_SHARES, [GAUGE_LOW_END, GAUGE_SETTLED], [GAUGE_SD_LOW, GAUGE_SD_CALM])
    while True:
        free = CURVE_SHARES + sd * (_gauge_root() @ rng.standard_normal(len(CURVE_SHARES)))
        if np.all(np.diff(free) > 0):
            return GaugeCurve(capacity_l, capacity_l * free)


def find_contradictions(season: Season) -> list[str]:
    """Hold a season's log against its truth.

    Parameters
    ----------
    season
        The season.

    Returns
    -------
    What doesn't agree, in words; empty where all of it does. Spoiled figures are left out.
    """
    truth, found = season.truth, []
    rounded_l = 0.0501 * season.litres
    gauge_off_l = _SIGMAS * truth.gauge_scatter_l + _gauge_step_l(season.boat, coarse=True) + season.litres
    level_l, ran_l = truth.start_l, 0.0
    for row, fillup in enumerate(season.log):
        kind, before_l, after_l = season.spoiled.get(row), truth.before_l[row], truth.after_l[row]
        ran_l += truth.used_l[row]
        claims = {
            "the level before isn't the last one less what was used": _same(level_l - truth.used_l[row], before_l),
            "the level after isn't the one before and the fill": _same(before_l + truth.delivered_l[row], after_l),
            "the tank over- or underflows": 0 <= before_l < after_l <= season.boat.tank.capacity_l,
            "pumped isn't what was delivered": kind == "pumped-typed"
            or abs(fillup.pumped_l - truth.delivered_l[row]) <= rounded_l,
            "full is far from the full mark": not fillup.filled_to_full
            or abs(after_l - season.boat.tank.full_mark_l) <= _SIGMAS * truth.full_mark_sd_l,
            "the meters don't tell what was used since they were really reset": kind == "meter-typed"
            or _metered_well(season, fillup.meters_used_l, ran_l),
            "the gauge is far from its curve": kind == "gauge-typed"
            or abs((fillup.gauge_before_l or 0.0) - truth.gauge.reading_l(before_l)) <= gauge_off_l,
        }
        found += [f"row {row}: {claim}" for claim, holds in claims.items() if not holds]
        level_l = after_l
        last = row + 1 == len(season.log)
        forgotten = season.now.reset_forgotten if last else season.spoiled.get(row + 1) == "reset-forgotten"
        if fillup.meter_reset and not forgotten:
            ran_l = 0.0
    if not _same(level_l - season.now.used_l, season.now.level_l):
        found.append("now: the level isn't the last one less what was used")
    if not _metered_well(season, season.now.meters_l, ran_l + season.now.used_l):
        found.append("now: the meters don't tell what was used since they were really reset")
    return found


def _same(first_l: float, second_l: float) -> bool:
    return abs(first_l - second_l) <= 1e-9 * (abs(first_l) + 1)


def _metered_well(season: Season, shown_l: tuple[float | None, ...], used_l: float) -> bool:
    """Tell whether the meters' figures are what was used, but for their scatter and their last digit."""
    metered_l = sum(f * (shown or 0.0) for f, shown in zip(season.truth.meter_factors, shown_l, strict=True))
    off_l = _SIGMAS * season.truth.meter_scatter_share * used_l + 0.15 * season.litres
    return abs(metered_l - used_l) <= off_l


@dataclass(frozen=True)
class _Run:
    used_l: float
    meters_l: tuple[float, ...]  # what each meter counted in it
    distance_nmi: float
    time_h: float


class _Writer:
    """Runs the boat, fills her, and writes it down."""

    def __init__(self, rng: np.random.Generator, boat: Boat, meters: int) -> None:
        self.rng, self.boat = rng, boat
        self.capacity_l, self.unit_l = boat.tank.capacity_l, LITRES[boat.display_units]
        self.factors = tuple(_draw_factor(rng) for _ in range(meters))
        self.scatter_share = _lognormal(rng, METER_SCATTER, METER_SCATTER_LOG_SD)
        self.full_sd_l = _lognormal(rng, boat.instruments.full_mark_sd_share, FULL_SD_LOG_SD) * self.capacity_l
        self.gauge = draw_gauge(rng, self.capacity_l)
        self.gauge_scatter_l = _lognormal(rng, GAUGE_SCATTER, GAUGE_SCATTER_LOG_SD) * self.capacity_l
        self.gauge_step_l = _gauge_step_l(boat, coarse=bool(rng.random() < 0.5))
        self.burn_factor = 1 + BURN_SD * float(rng.standard_normal())
        self.run_sd = _lognormal(rng, RUN_SD, RUN_LOG_SD)

    def write(self, count: int, part_share: float, spoiled_share: float) -> Season:
        rng = self.rng
        start_l = level_l = self._full_l()
        counted = (0.0,) * len(self.factors)
        when = datetime(2025, 4, 5, 15, tzinfo=UTC)
        rows: list[Fillup] = []
        levels: list[tuple[float, float, float, float]] = []
        spoiled: dict[int, Kind] = {}
        forgotten = False
        for row in range(count):
            if forgotten:
                spoiled[row] = "reset-forgotten"
            run = self._run(level_l, USED_SHARE[0])
            counted = tuple(a + b for a, b in zip(counted, run.meters_l, strict=True))
            before_l = level_l - run.used_l
            full = bool(rng.random() >= part_share)
            missing_l = self.boat.tank.full_mark_l - before_l
            level_l = self._full_l() if full else before_l + float(rng.uniform(*PART_SHARE_FILLED)) * missing_l
            levels.append((run.used_l, before_l, level_l - before_l, level_l))
            when += timedelta(days=int(rng.integers(2, 8)), minutes=int(rng.integers(0, 240)))
            written = Fillup(
                boat=self.boat.name,
                when=when,
                dock="Lower Pontoon",
                meter_used_l=self._shown_l(counted[0]),
                meter2_used_l=self._shown_l(counted[1]) if len(counted) > 1 else None,
                gauge_before_l=self._gauge_shows_l(before_l),
                pumped_l=self._shown_l(level_l - before_l),
                filled_to_full=full,
                meter_reset=full or bool(rng.random() >= PART_NOT_RESET),
                distance_run_nmi=round(run.distance_nmi, 1),
                engine_hours_h=round(run.time_h, 1),
            )
            slip = bool(rng.random() < spoiled_share)
            forgotten = slip and written.meter_reset and bool(rng.random() < 0.5)
            if slip and not forgotten and row not in spoiled:
                spoiled[row], written = self._mistyped(written)
            if written.meter_reset and not forgotten:
                counted = (0.0,) * len(counted)
            rows.append(written)
        run = self._run(level_l, 0.05)
        level_l -= run.used_l
        shows = tuple(self._shown_l(a + b) for a, b in zip(counted, run.meters_l, strict=True))
        now = Present(shows, self._gauge_shows_l(level_l), level_l, run.used_l, forgotten)
        return Season(self.boat, tuple(rows), self._truth(start_l, levels), spoiled, now)

    def _truth(self, start_l: float, levels: list[tuple[float, float, float, float]]) -> Truth:
        used_l, before_l, delivered_l, after_l = zip(*levels, strict=True) if levels else ((), (), (), ())
        return Truth(
            meter_factors=self.factors,
            meter_factor=len(self.factors) / sum(1 / factor for factor in self.factors),
            meter_scatter_share=self.scatter_share,
            gauge_scatter_l=self.gauge_scatter_l,
            full_mark_sd_l=self.full_sd_l,
            gauge=self.gauge,
            burn_factor=self.burn_factor,
            run_sd_share=self.run_sd,
            start_l=start_l,
            used_l=used_l,
            before_l=before_l,
            delivered_l=delivered_l,
            after_l=after_l,
        )

    def _run(self, level_l: float, least_share: float) -> _Run:
        """Run until some share of the tank is used, at about the cruising speed."""
        rng, capacity_l = self.rng, self.capacity_l
        most_l = min(USED_SHARE[1] * capacity_l, level_l - LEAST_LEFT * capacity_l)
        used_l = float(rng.uniform(min(least_share * capacity_l, most_l), most_l))
        parts = np.full(len(self.factors), 1 / len(self.factors))
        if len(parts) > 1:
            lean = 0.015 * float(rng.standard_normal())  # engines in step differ by a few per cent
            parts = np.array([0.5 + lean, 0.5 - lean])
        noise = 1 + self.scatter_share * rng.standard_normal(len(parts))
        meters_l = tuple(float(m) for m in used_l * parts / np.array(self.factors) * noise)
        speed_kn = self.boat.cruising_speed_kn * float(rng.uniform(0.9, 1.1))
        table_lph = float(np.interp(speed_kn, self.boat.burn.speed_kn, self.boat.burn.burn_lph))
        burn_lph = table_lph * self.burn_factor * max(0.3, 1 + self.run_sd * float(rng.standard_normal()))
        time_h = used_l / burn_lph
        return _Run(used_l, meters_l, speed_kn * time_h, time_h)

    def _full_l(self) -> float:
        """[l] Fill to the mark, as well as that goes."""
        aimed_l = self.boat.tank.full_mark_l + self.full_sd_l * float(self.rng.standard_normal())
        return min(aimed_l, self.capacity_l)

    def _shown_l(self, volume_l: float) -> float:
        """[l] A tenth of the display unit is all that a meter or a pump shows."""
        return round(volume_l / self.unit_l, 1) * self.unit_l

    def _gauge_shows_l(self, level_l: float) -> float:
        noisy_l = self.gauge.unclamped_l(level_l) + self.gauge_scatter_l * float(self.rng.standard_normal())
        stepped_l = round(noisy_l / self.gauge_step_l) * self.gauge_step_l
        return float(np.clip(self._shown_l(stepped_l), 0.0, self.capacity_l))

    def _mistyped(self, written: Fillup) -> tuple[Kind, Fillup]:
        """Write one figure wrong, so that it matters and could still be entered."""
        fields: tuple[tuple[Kind, str], ...] = (
            ("meter-typed", "meter_used_l"),
            ("gauge-typed", "gauge_before_l"),
            ("pumped-typed", "pumped_l"),
        )
        while True:
            kind, field = fields[int(self.rng.integers(len(fields)))]
            right_l = getattr(written, field)
            typed_l = float(_slip(self.rng, f"{right_l / self.unit_l:.1f}")) * self.unit_l
            matters = abs(typed_l - right_l) > TYPED_DIFFERS * self.capacity_l
            possible = 0 < typed_l <= (99_000 if kind == "meter-typed" else self.capacity_l)
            if matters and possible:
                return kind, written.model_copy(update={field: typed_l})


def _slip(rng: np.random.Generator, text: str) -> str:
    """Swap two digits, lose the decimal point, or get one digit wrong."""
    digits = [place for place, letter in enumerate(text) if letter.isdigit()]
    letters = list(text)
    slip = int(rng.integers(3))
    if slip == 0:
        first = int(rng.integers(len(digits) - 1))
        a, b = digits[first], digits[first + 1]
        letters[a], letters[b] = letters[b], letters[a]
    elif slip == 1:
        letters.remove(".")
    else:
        letters[digits[int(rng.integers(len(digits)))]] = str(int(rng.integers(10)))
    return "".join(letters)


def _draw_factor(rng: np.random.Generator) -> float:
    while True:
        off = FACTOR_SCALE * float(rng.standard_t(FACTOR_DEGREES))
        if abs(off) <= FACTOR_LIMIT:
            return 1 + off


def _lognormal(rng: np.random.Generator, median: float, log_sd: float) -> float:
    return median * math.exp(log_sd * float(rng.standard_normal()))


def _gauge_step_l(boat: Boat, *, coarse: bool) -> float:
    """[l] What a gauge shows in: fiftieths of the tank, or whole units."""
    return 0.02 * boat.tank.capacity_l if coarse else LITRES[boat.display_units]


@cache
def _gauge_root() -> Floats:
    """Take the root of the correlation of the gauge's deviations, so that it turns white noise into a curve."""
    apart = (CURVE_SHARES[:, None] - CURVE_SHARES[None, :]) / GAUGE_REACH
    values, vectors = np.linalg.eigh(np.exp(-0.5 * apart**2))
    return np.asarray(vectors * np.sqrt(np.clip(values, 0.0, None)))
