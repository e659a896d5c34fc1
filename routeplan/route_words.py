"""What is said of a route that was checked, and of names that were shortened."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from routeplan.console import caution_lines, source_lines, table, wrapped
from routeplan.places import write_position
from routeplan.plan_words import PlanWords
from routeplan.units_shown import shown_distance, shown_duration, shown_speed
from routeplan.words import course

if TYPE_CHECKING:
    from collections.abc import Sequence

    from layers import Region
    from routeplan.boats import Boat
    from routeplan.fuel import FuelAboard
    from routeplan.plans import Plan, Refusal
    from routeplan.route_checked import CheckedLeg, FuelPoint, Hit, LedRound, RouteCheck

__all__ = ["route_check_document", "tell_route"]

_MOST_LEGS = 60  # in the table: longer ones are told by what they meet alone
_MOST_HITS = 15  # told of one leg; the document has all
_MOST_TOLD = 15  # legs run otherwise and points not passed, each; the document has all
_AT_A_POINT_NMI = 0.05  # [nmi] a stretch so short is told as a place
_KINDS = {
    "land": "land",
    "outside": "water outside the region's data",
    "no-entry": "a no-entry zone",
    "low bridge": "a low bridge",
    "shoal": "water too shallow",
    "hazard": "a hazard",
    "unsurveyed": "unsurveyed water",
    "stand-off": "the stand-off not kept",
    "gate": "a bridge or lock that opens",
    "approach": "an approach",
}
_PLAIN = {"outside": "outside the region's data: nothing is known there", "unsurveyed": "over unsurveyed water"}


def route_check_document(check: RouteCheck, region: Region, confidence: float, aboard: FuelAboard) -> dict[str, Any]:
    """Tell a checked route.

    Parameters
    ----------
    check
        What was found.
    region
        Where its layers come from is told.
    confidence
        [share] Of arrivals that keep the reserve.
    aboard
        Fuel aboard at the beginning.

    Returns
    -------
    What `route check --json` prints.
    """
    return {
        "schema": "routeplan/route-check/1",
        "currency": region.about.currency,
        "region": region.about.name,
        "confidence": confidence,
        "aboard": aboard.model_dump(mode="json"),
        "good": check.good,
        **check.model_dump(mode="json", by_alias=True),
        "sources": [
            {"layer": layer, **source.model_dump(mode="json")} for layer, source in region.about.sources.items()
        ],
    }


def tell_route(check: RouteCheck, boat: Boat, region: Region, aboard: FuelAboard) -> str:
    """Tell a checked route to a person: whether she can run it, what it meets, how the fuel comes out, a better way.

    Parameters
    ----------
    check
        What was found.
    boat
        The boat.
    region
        Its time zone, currency and sources.
    aboard
        Fuel aboard at the beginning.

    Returns
    -------
    Text of several lines.
    """
    words = PlanWords(boat, region.zone, region.about.currency, check.speed_kn)
    said = _Route(check, words)
    out = [wrapped(f"{boat.name}, the route {check.route}: {check.points:,} points, {aboard.how}.")]
    out += [wrapped(note) for note in check.notes]
    out += ["", *said.verdict(), "", *said.fuel()]
    met = said.met()
    out += ["", *met] if met else []
    if len(check.legs) <= _MOST_LEGS:
        out += ["", *said.legs()]
    if check.plan is not None:
        out += ["", *said.plan(check.plan)]
    if check.refused is not None:
        out += ["", *_refused(check.refused), *_not_passed(check)]
    if check.no_plan:
        out += ["", wrapped(f"! No stops could be planned: {check.no_plan}.")]
    return "\n".join([*out, "", *caution_lines(check.cautions), *source_lines(region)])


class _Route:
    """Says one checked route in one boat's units."""

    def __init__(self, check: RouteCheck, words: PlanWords) -> None:
        self.check = check
        self.words = words
        self.units = words.units

    def verdict(self) -> list[str]:
        check = self.check
        bad = [i for i, leg in enumerate(check.legs, start=1) if any(hit.stops for hit in leg.hits)]
        if bad:
            kinds = dict.fromkeys(_KINDS[h.kind] for leg in check.legs for h in leg.hits if h.stops)
            on = f"leg {bad[0]} meets" if len(bad) == 1 else f"{len(bad)} of {len(check.legs)} legs meet"
            first = f"! It can't be run as it stands: {on} {_and(list(kinds))}."
        elif check.keeps_reserve:
            first = "It can be run as it stands, and keeps the reserve."
        else:
            first = "The water is clear for her all the way, but the fuel doesn't do."
        run = (
            f"As it stands {shown_distance(check.distance_nmi)} at {shown_speed(check.speed_kn)}, limits kept: leaves "
            f"{self.words.day_and_clock(check.depart)}, arrives {self.words.day_and_clock(check.arrive)} after "
            f"{shown_duration(check.time_h)}, burns {self.units.volume_up(check.fuel_l)}."
        )
        return [wrapped(first), wrapped(run)]

    def fuel(self) -> list[str]:
        check, units = self.check, self.units
        if check.keeps_reserve:
            over = units.volume_down(check.arrival_low_l - check.floor_l)
            left = self.words.aboard(check.arrival_l, check.arrival_low_l)
            return [wrapped(f"At its end {left}: {over} above the reserve.")]
        under = units.volume_up(check.floor_l - check.arrival_low_l)
        lines = [f"! Without a stop its end is reached {under} short of what keeps the reserve."]
        if check.reserve_touched is not None:
            lines.append(f"! The reserve is touched {self._at(check.reserve_touched)}.")
        if check.may_run_dry is not None:
            lines.append(f"! She may run dry {self._at(check.may_run_dry)}.")
        return [wrapped(line) for line in lines]

    def _at(self, point: FuelPoint) -> str:
        leg = self.check.legs[point.leg - 1]
        where = f"{shown_distance(point.gone_nmi)} on, {shown_distance(point.after_nmi)} into leg {point.leg}"
        return f"{where} to {leg.to}, at {write_position(point.position)}, {self.words.day_and_clock(point.at)}"

    def met(self) -> list[str]:
        lines = []
        for number, leg in enumerate(self.check.legs, start=1):
            said = [f"{'! ' if hit.stops else ''}{self._hit(hit, leg)}" for hit in leg.hits]
            rest = len(said) - _MOST_HITS
            said = [*said[:_MOST_HITS], *([f"and {rest} more"] if rest > 0 else []), *leg.cautions]
            if said:
                lines.append(wrapped(f"Leg {number}, {leg.from_} to {leg.to}:", "  "))
                lines += [wrapped(line, "    ") for line in said]
        return ["What it meets:", *lines] if lines else []

    def _hit(self, hit: Hit, leg: CheckedLeg) -> str:
        what = self._what(hit)
        length_nmi = hit.ends_nmi - hit.begins_nmi
        where = write_position(hit.worst_position if length_nmi < _AT_A_POINT_NMI else hit.position)
        begins = f"{shown_distance(hit.begins_nmi)} on" if hit.begins_nmi >= _AT_A_POINT_NMI else "at its beginning"
        if length_nmi >= _AT_A_POINT_NMI:
            begins = begins.replace("at its", "from its")
            what += f", for {shown_distance(length_nmi)}"
        beside = ""
        if hit.on_rhumb:
            beside = f" (on the rhumb line, {self.units.room(leg.rhumb_off_m)} beside the great circle at the most)"
        return f"{what}, {begins}, {where}{beside}"

    def _what(self, hit: Hit) -> str:
        match hit.kind:
            case "land":
                return f"over land ({hit.name})" if hit.name else "over land"
            case "no-entry":
                return f"through {hit.name}, no entry{f': {hit.why}' if hit.why else ''}"
            case "gate":
                return f"through {hit.name}, {hit.why}"
            case "approach":
                return f"approach over {hit.why}: by eye, slowly"
            case "low bridge" | "shoal" | "hazard" | "stand-off":
                return self._measured(hit)
            case _:
                return _PLAIN[hit.kind]

    def _measured(self, hit: Hit) -> str:
        """Say what is met by its figure, and what is needed: what is there rounded down, what is needed up."""
        units = self.units
        needed_m = 0.0 if hit.needed_m is None else hit.needed_m
        match hit.kind:
            case "low bridge":
                clear = "clearance not known" if hit.found_m is None else f"clearance {units.depth(hit.found_m)}"
                return f"under {hit.name or 'a line that is too low'}: {clear}, {units.depth_up(needed_m)} needed"
            case "shoal":
                depth = "too shallow" if hit.depth_m is None else _depth(units.depth(hit.depth_m), hit.depth_m)
                return f"{depth}, {units.depth_up(needed_m)} needed"
            case "hazard":
                kept = (
                    "" if hit.found_m is None else f", {units.room(hit.found_m)} off, {units.room(needed_m)} to be kept"
                )
                return f"by {hit.name or 'a hazard'}{kept}"
            case _:
                off = units.room(hit.found_m or 0.0)
                return f"{off} from what closes the water, the stand-off is {units.room(needed_m)}"

    def legs(self) -> list[str]:
        unit = self.units.volume_label
        rows = []
        for number, leg in enumerate(self.check.legs, start=1):
            bad = "!" if any(hit.stops for hit in leg.hits) else ""
            limits = f" ({'; '.join(leg.limits)})" if leg.limits else ""
            rows.append(
                (
                    f"{number}{bad}",
                    course(leg.course_deg),
                    f"{leg.distance_nmi:.1f}",
                    f"{leg.speed_kn:.3g}",
                    self.words.clock(leg.arrive),
                    self._bare(leg.aboard_after_l),
                    self._bare(leg.aboard_after_low_l),
                    f"{leg.to}{limits}",
                )
            )
        return table(("leg", "true", "nmi", "kn", "at", f"left {unit}", f"low {unit}", "to"), rows)

    def _bare(self, volume_l: float) -> str:
        return "0" if volume_l <= 0 else self.units.volume_down(volume_l).split()[0]

    def plan(self, plan: Plan) -> list[str]:
        check = self.check
        how = f"with stops ({plan.name})" if plan.stops else "over water"
        lines = [wrapped(f"By the same points {how}: {self.words.summary(plan)}.")]
        for i, stop in enumerate(plan.stops):
            lines.append(wrapped(f"{self.words.stop_title(plan, i)}.", "  "))
            lines += [wrapped(f"{line}.", "    ") for line in self.words.stop_lines(plan, stop)]
        longer_nmi = plan.distance_nmi - check.distance_nmi
        lines += [wrapped(_led(led), "  ") for led in check.led_round[:_MOST_TOLD]]
        if len(check.led_round) > _MOST_TOLD:
            lines.append(f"  And {len(check.led_round) - _MOST_TOLD:,} more legs run otherwise.")
        if check.led_round:
            more = "longer" if longer_nmi >= 0 else "shorter"
            lines.append(wrapped(f"In all {shown_distance(abs(longer_nmi))} {more} than the route as it stands.", "  "))
        lines += _not_passed(check)
        lines += [wrapped(f"Heed: {caution}", "  ") for caution in plan.cautions]
        return lines


def _led(led: LedRound) -> str:
    leg = f"leg {led.leg}, {led.from_} to {led.to}"
    if led.why:
        return f"Led round: {leg}, for {_and([_KINDS[kind] for kind in led.why])}."
    if led.stops:
        return f"Left for the stop at {_and(led.stops)}: {leg}."
    return f"Run otherwise than drawn: {leg}."


def _not_passed(check: RouteCheck) -> list[str]:
    told, rest = check.passed_over[:_MOST_TOLD], len(check.passed_over) - _MOST_TOLD
    lines = [wrapped(f"Not passed: {reason}.", "  ") for reason in told]
    return [*lines, *([f"  And {rest:,} more points not passed."] if rest > 0 else [])]


def _refused(refusal: Refusal) -> list[str]:
    lines = [wrapped(f"! No plan by these points keeps the rules: {refusal.why}.")]
    return [*lines, *(wrapped(f"- {idea}", "  ") for idea in refusal.try_)]


def _depth(shown: str, depth_m: float) -> str:
    return f"dries {shown.removeprefix('-')}" if depth_m < 0 else f"charted {shown}"


def _and(parts: Sequence[str]) -> str:
    return " and ".join([", ".join(parts[:-1]), parts[-1]]) if len(parts) > 1 else "".join(parts)
