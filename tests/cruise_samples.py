"""A group cruise made by hand for the tests of its papers: six boats, two days, three stops, one boat that goes round.

The tracks are those of `find_passage` on the demo region, thinned: here and there they cut a cape. A bridge of 4.1 m
spans Vindelsay Gate: all pass it but Tall Order, of 14.5 m, who goes round outside and is half an hour later.
Everything is invented.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from routeplan.boats import Boat, read_boat
from routeplan.cautions import SAFETY_CAUTIONS
from routeplan.cruise_asked import CruiseBoat
from routeplan.cruise_words import CruiseWords
from routeplan.cruises import (
    AtPump,
    BoatPlan,
    Buddy,
    CruiseDay,
    CruiseLeg,
    CruisePlan,
    CruiseStop,
    LeftBehind,
    LegLimit,
    OneDockMore,
)
from routeplan.fuel import FuelAboard
from routeplan.plans import Alternate, Leg, Plan, Stop

__all__ = ["DEPART", "ZONE", "at", "boats", "clones", "cruise", "words", "words_of"]

ZONE = ZoneInfo("Atlantic/Azores")  # UTC in July
DEPART = datetime(2026, 7, 2, 10, 0, tzinfo=UTC)
_BOATS = Path(__file__).resolve().parents[1] / "demo_region" / "data" / "boats"
_KNOWN = {  # contact, persons aboard, fuel on leaving, burn at 18 kn [l/h]
    "Quick Errand": ("VHF 72", 4, 344.5, 47.0),
    "Half Promise": ("+351 555 0102", 3, 268.8, 47.0),
    "Salt Biscuit": ("VHF 72", 2, 218.0, 25.2),
    "Loose Change": ("", None, 185.0, 25.2),
    "Second Opinion": ("555 0105", 5, 430.0, 51.0),
    "Tall Order": ("VHF 72", 2, 430.0, 51.0),
}
_V, _M, _P, _D = (-37.4229, 44.7914), (-36.5303, 44.7539), (-36.4716, 44.6933), (-36.0813, 44.6784)
_R, _E = (-36.1629, 44.8629), (-36.3376, 45.0516)
_TO_MIRROWICK = [
    *(_V, (-37.4139, 44.7924), (-37.4086, 44.7916), (-37.3596, 44.7785), (-37.3106, 44.7653)),
    *((-37.2743, 44.7669), (-37.179, 44.7674), (-36.9431, 44.7629), (-36.7072, 44.7579), _M),
]
_TO_POOL = [_M, (-36.5313, 44.7518), (-36.5311, 44.7432), (-36.5255, 44.7314), (-36.4956, 44.7091), _P]
_UNDER_BRIDGE = [_P, (-36.4319, 44.6965), (-36.4271, 44.6966), (-36.4041, 44.7033), (-36.3805, 44.7061), _D]
_ROUND = [
    *(_P, (-36.4956, 44.7091), (-36.5254, 44.7314), (-36.5311, 44.7432), (-36.5313, 44.7518), (-36.499, 44.8191)),
    *((-36.4829, 44.8527), (-36.466, 44.8663), (-36.4576, 44.8684), (-36.4525, 44.8675), (-36.3959, 44.8344)),
    *((-36.3268, 44.78), (-36.2579, 44.7255), (-36.1695, 44.702), _D),
]
_TO_ROSTERMAY = [
    *(_D, (-36.1252, 44.6901), (-36.213, 44.7135), (-36.2569, 44.7252), (-36.2612, 44.7281), (-36.2653, 44.7383)),
    *((-36.2618, 44.7835), (-36.2435, 44.8086), (-36.1695, 44.8583), _R),
]
_TO_ETTERMOY = [
    *(_R, (-36.1712, 44.861), (-36.1798, 44.8637), (-36.2805, 44.9044), (-36.3814, 44.945), (-36.3867, 44.9549)),
    *((-36.3875, 44.991), (-36.3701, 45.0103), (-36.3401, 45.0471), _E),
]
_FLOOR_L = {"Quick Errand": 47.7, "Half Promise": 47.7, "Salt Biscuit": 39.0, "Loose Change": 39.0}
_FULL_L = {"Quick Errand": 344.5, "Half Promise": 344.5, "Salt Biscuit": 218.0, "Loose Change": 218.0}


def at(clock: str, day: int = 1) -> datetime:
    """Make a moment of the cruise's first or second day."""
    hours, minutes = map(int, clock.split(":"))
    return datetime(2026, 7, 1 + day, hours, minutes, tzinfo=UTC)


def boats() -> tuple[CruiseBoat, ...]:
    """Make the boats: four that burn gasoline, two diesel; US gallons, litres, imperial gallons."""
    files = ("quick_errand", "quick_errand", "salt_biscuit", "salt_biscuit", "second_opinion", "second_opinion")
    return tuple(_boat(name, file) for name, file in zip(_KNOWN, files, strict=True))


def _boat(name: str, file: str) -> CruiseBoat:
    contact, people, fuel_l, _ = _KNOWN[name]
    read: Boat = read_boat(_BOATS / f"{file}.toml").model_copy(update={"name": name})
    if name == "Tall Order":
        read = read.model_copy(update={"air_draught_m": 14.5, "display_units": "imperial"})
    aboard = FuelAboard(mean_l=fuel_l, sd_l=8.0, how="as told")
    return CruiseBoat(name=name, boat=read, aboard=aboard, file=f"boats/{file}.toml", contact=contact, people=people)


def _turn(
    boat: str, fuel: str, times: tuple[str, str, str], aboard: tuple[float, float], day: int, price: float
) -> AtPump:
    """Make a turn: arrive, begin and end; fuel aboard and its low figure [l]."""
    arrive, begin, end = (at(clock, day) for clock in times)
    take_l = _FULL_L.get(boat, 494.0) - aboard[0]
    return AtPump(
        boat=boat,
        fuel="gasoline" if fuel == "g" else "diesel",
        pump=1,
        arrive=arrive,
        come=begin,
        begin=begin,
        end=end,
        wait_min=(begin - arrive).total_seconds() / 60,
        aboard_l=aboard[0],
        aboard_low_l=aboard[1],
        margin_low_l=aboard[1] - _FLOOR_L.get(boat, 72.0),
        take_l=take_l,
        cost=take_l * price,
    )


def _stop(number: int, dock: str, position: tuple[float, float], turns: tuple[AtPump, ...], **more: Any) -> CruiseStop:
    total_l = {f: sum(t.take_l for t in turns if t.fuel == f) for f in ("gasoline", "diesel")}
    plain = {
        "number": number,
        "dock": dock,
        "position": position,
        "arrive": min(t.arrive for t in turns),
        "depart": max(t.end for t in turns),
        "boats": turns,
        "total_l": total_l,
        "cost": sum(t.cost or 0.0 for t in turns),
        "pumps": {"gasoline": 1, "diesel": 0},
        "pumps_known": True,
        "shared": False,
        "order": "proven",
        "gap_min": 0.0,
        "thirstiest": tuple(t.boat for t in sorted(turns, key=lambda t: t.margin_low_l)),
        "thirstiest_later_min": 0.0,
        "onward": None,
        "vhf": "12",
        "phone": None,
        "cautions": (),
    }
    return CruiseStop(**{**plain, **more})


def _stops() -> tuple[CruiseStop, ...]:
    first = (
        _turn("Loose Change", "g", ("12:12", "12:14", "12:31"), (129.6, 118.9), 1, 2.09),
        _turn("Half Promise", "g", ("12:12", "12:31", "12:51"), (165.4, 151.2), 1, 2.09),
        _turn("Quick Errand", "g", ("12:12", "12:51", "13:09"), (241.1, 230.3), 1, 2.09),
    )
    second = (_turn("Salt Biscuit", "g", ("09:49", "09:51", "10:09"), (123.1, 112.6), 2, 1.92),)
    third = (
        _turn("Second Opinion", "d", ("11:38", "11:40", "12:00"), (183.5, 160.4), 2, 1.65),
        _turn("Tall Order", "d", ("11:38", "12:00", "12:24"), (158.0, 134.3), 2, 1.65),
        _turn("Half Promise", "g", ("11:38", "12:24", "12:45"), (218.6, 208.0), 2, 1.95),
        _turn("Quick Errand", "g", ("11:38", "12:45", "13:06"), (218.6, 208.0), 2, 1.95),
        _turn("Loose Change", "g", ("11:38", "13:06", "13:24"), (150.9, 143.2), 2, 1.95),
    )
    return (
        _stop(
            *(1, "Mirrowick Pier Pump", (-36.5294, 44.7535), first),
            day=1,
            leg=1,
            pump_lpm=40.0,
            closes=at("19:00"),
            closes_after_min=351.0,
            hours="Mo-Su 09:00-19:00",
            confirmed_on="2026-05-22",
            alternate="Rostermay Fuel Dock",
            thirstiest=("Loose Change", "Half Promise", "Quick Errand"),
        ),
        _stop(
            *(2, "Dollamore Quay", (-36.0805, 44.6789), second),
            day=2,
            leg=3,
            pump_lpm=35.0,
            closes=at("17:00", 2),
            closes_after_min=411.0,
            hours="Mo-Fr 08:00-17:00",
            confirmed_on="2025-11-11",
            alternate="Rostermay Fuel Dock",
            cautions=("last confirmed 2025-11-11",),
        ),
        _stop(
            *(3, "Rostermay Fuel Dock", _R, third),
            day=2,
            leg=3,
            pumps={"gasoline": 1, "diesel": 1},
            pumps_known=False,
            shared=True,
            pump_lpm=60.0,
            order="best found",
            gap_min=3.4,
            thirstiest=("Tall Order", "Second Opinion", "Loose Change", "Half Promise", "Quick Errand"),
            thirstiest_later_min=2.0,
            closes=at("18:00", 2),
            closes_after_min=276.0,
            hours="Mo-Sa 07:00-18:00; Su 09:00-13:00",
            phone="555 0199",
            confirmed_on="2026-06-14",
            alternate="Ettermoy Fuel Quay",
        ),
    )


def _alternate(name: str, day: int, left_l: float) -> Alternate:
    come = at("15:00", day)
    return Alternate(
        name=name,
        distance_nmi=17.7,
        speed_kn=18.0,
        left_l=left_l,
        wait_h=0.0,
        arrive=come,
        begin=come,
        depart=come + timedelta(minutes=20),
        take_l=200.0,
        price_per_l=1.96,
        hours="Mo-Su 07:00-21:00",
        vhf="12",
        phone=None,
        confirmed_on="2026-06-29",
        cautions=(),
    )


def _stop_of_plan(stop: CruiseStop, turn: AtPump) -> Stop:
    return Stop(
        dock=stop.dock,
        position=stop.position,
        arrive=turn.arrive,
        begin=turn.begin,
        depart=turn.end,
        aboard_l=turn.aboard_l,
        aboard_low_l=turn.aboard_low_l,
        take_l=turn.take_l,
        to_mark=True,
        cost=turn.cost,
        price_per_l=None if turn.cost is None else turn.cost / turn.take_l,
        wait_h=turn.wait_min / 60,
        alternate=None if stop.alternate is None else _alternate(stop.alternate, stop.day, turn.aboard_low_l - 40.0),
        keeps_closed_dock_rule=True,
        why="without it Ettermoy is out of reach",
        instead=None,
        confirmed_on=stop.confirmed_on,
        cautions=stop.cautions,
        hours=stop.hours,
        vhf=stop.vhf,
        phone=stop.phone,
    )


def _plan(name: str, stops: tuple[CruiseStop, ...]) -> Plan:
    tall, rate = name == "Tall Order", _KNOWN[name][3]
    in_dollamore = at("10:19", 2) if tall else at("09:49", 2)
    hops = (  # from, to, distance [nmi], leaves, is there
        ("Vellistrand", "Mirrowick Pier Pump", 38.5, DEPART, at("12:12")),
        ("Mirrowick Pier Pump", "Vindelsay Pool", 4.6, at("13:24"), at("13:40")),
        ("Vindelsay Pool", "Dollamore", 32.6 if tall else 16.9, at("08:30", 2), in_dollamore),
        ("Dollamore", "Rostermay Fuel Dock", 18.1, at("10:34", 2), at("11:38", 2)),
        ("Rostermay Fuel Dock", "Ettermoy", 17.7, at("13:39", 2), at("14:48", 2)),
    )
    spots = dict(zip([h[0] for h in hops] + ["Ettermoy"], [_V, _M, _P, _D, _R, _E], strict=True))
    taken = [(stop, turn) for stop in stops for turn in stop.boats if turn.boat == name]
    legs, aboard_l = [], _KNOWN[name][2]
    for start, end, length_nmi, leaves, comes in hops:
        burnt_l = rate * (comes - leaves).total_seconds() / 3600
        aboard_l -= burnt_l
        legs.append(
            Leg(
                from_=start,
                from_position=spots[start],
                to=end,
                to_position=spots[end],
                kind="leg",
                distance_nmi=length_nmi,
                course_deg=90.0,
                speed_kn=18.0,
                depart=leaves,
                arrive=comes,
                fuel_l=burnt_l,
                aboard_after_l=aboard_l,
                aboard_after_low_l=aboard_l * 0.93,
                depth_checked=True,
            )
        )
        aboard_l += sum(turn.take_l for stop, turn in taken if stop.dock.startswith(end))
    track = [*_TO_MIRROWICK, *_TO_POOL, *(_ROUND if tall else _UNDER_BRIDGE), *_TO_ROSTERMAY, *_TO_ETTERMOY]
    return Plan(
        name="soonest",
        recommended=True,
        difference="",
        depart=DEPART,
        arrive=at("14:48", 2),
        distance_nmi=sum(hop[2] for hop in hops),
        time_h=28.8,
        fuel_l=sum(leg.fuel_l for leg in legs),
        cost=sum(turn.cost or 0.0 for _, turn in taken),
        least_margin_l=min(turn.margin_low_l for _, turn in taken),
        chance_reserve_kept=0.97,
        chance_never_dry=0.9998,
        closed_dock="on",
        aboard_on_arrival_l=aboard_l,
        aboard_on_arrival_low_l=aboard_l * 0.93,
        speeds_kn=(18.0,) * 5,
        legs=tuple(legs),
        stops=tuple(_stop_of_plan(stop, turn) for stop, turn in taken),
        waits=(),
        onward=None,
        slower=(),
        leans_on=(),
        cautions=(),
        track={"type": "LineString", "coordinates": [list(p) for p in track]},
    )


def _limits() -> tuple[LegLimit, ...]:
    near = (
        Buddy(boat="Salt Biscuit", to="Loose Change", most_min=4.2, most_nmi=1.6),
        Buddy(boat="Quick Errand", to="Loose Change", most_min=6.1, most_nmi=2.4),
    )
    return (
        LegLimit(
            leg="Vellistrand to Vindelsay Pool",
            number=1,
            boat="Loose Change",
            at="Mirrowick Pier Pump",
            margin_low_l=79.96,
            margin_nmi=57.9,
            help=("start with 30 l more aboard", "make this leg at 17 kn"),
            buddies=near,
        ),
        LegLimit(
            leg="Vindelsay Pool to Dollamore",
            number=2,
            boat="Salt Biscuit",
            at="Dollamore Quay",
            margin_low_l=73.6,
            margin_nmi=52.6,
            help=(),
            buddies=(),
        ),
        LegLimit(
            leg="Dollamore to Ettermoy",
            number=3,
            boat="Tall Order",
            at="Rostermay Fuel Dock",
            margin_low_l=62.3,
            margin_nmi=22.0,
            help=("fill at Dollamore Quay is no help: it sells no diesel",),
            buddies=(Buddy(boat="Second Opinion", to="Tall Order", most_min=3.0, most_nmi=0.9),),
        ),
    )


def cruise(**changes: Any) -> CruisePlan:
    """Make the cruise; changes replace its parts."""
    stops = _stops()
    fuels = {name: "diesel" if name in {"Second Opinion", "Tall Order"} else "gasoline" for name in _KNOWN}
    plans = tuple(
        BoatPlan(
            boat=name,
            fuel=fuels[name],
            party=2 if name == "Tall Order" else 1,
            why_apart="14.5 m high: Vindelsay Gate bridge has 4.1 m" if name == "Tall Order" else "",
            delay_h=3.2,
            queue_min=sum(turn.wait_min for stop in stops for turn in stop.boats if turn.boat == name),
            plan=_plan(name, stops),
        )
        for name in _KNOWN
    )
    legs = (
        ("Vellistrand", "Vindelsay Pool", 1, DEPART, at("13:40"), at("13:40"), 43.1),
        ("Vindelsay Pool", "Dollamore", 2, at("08:30", 2), at("09:49", 2), at("10:19", 2), 32.6),
        ("Dollamore", "Ettermoy", 2, at("10:34", 2), at("14:48", 2), at("14:48", 2), 35.8),
    )
    plain: dict[str, Any] = {
        "name": "Three Bays Cruise",
        "pace": "together",
        "speed_kn": 18.0,
        "depart": DEPART,
        "arrive": at("14:48", 2),
        "days": (
            CruiseDay(
                number=1,
                date="2026-07-02",
                from_="Vellistrand",
                to="Vindelsay Pool",
                depart=DEPART,
                arrive=at("13:40"),
                sunrise=at("04:48"),
                sunset=at("20:11"),
                light_left_min=391.6,
            ),
            CruiseDay(
                number=2,
                date="2026-07-03",
                from_="Vindelsay Pool",
                to="Ettermoy",
                depart=at("08:30", 2),
                arrive=at("14:48", 2),
                sunrise=at("04:45", 2),
                sunset=at("20:12", 2),
                light_left_min=324.0,
            ),
        ),
        "legs": tuple(
            CruiseLeg(
                number=n,
                from_=start,
                to=end,
                day=day,
                depart=leaves,
                first_in=first,
                last_in=last,
                distance_nmi=length_nmi,
                speeds_kn=(18.0, 18.0),
            )
            for n, (start, end, day, leaves, first, last, length_nmi) in enumerate(legs, start=1)
        ),
        "stops": stops,
        "boats": plans,
        "limits": _limits(),
        "docks": tuple(stop.dock for stop in stops),
        "one_set": False,
        "docks_proven": True,
        "fewest_docks": 3,
        "delay_h": 19.2,
        "delay_gap_h": 0.21,
        "queue_min": 88.0,
        "cost": sum(stop.cost or 0.0 for stop in stops),
        "one_dock_more": OneDockMore(
            docks=("Mirrowick Pier Pump", "Dollamore Quay", "Rostermay Fuel Dock", "Ettermoy Fuel Quay"),
            sooner_h=0.7,
            delay_less_h=2.35,
        ),
        "left_behind": (
            LeftBehind(
                boat="Far Enough",
                from_="Vellistrand",
                to="Vindelsay Pool",
                distance_nmi=43.1,
                short_l=18.43,
                why="she has too little aboard for the first leg, and no dock before it",
                try_=("19 l more aboard", "make this leg at 12 kn"),
            ),
        ),
        "cautions": (*SAFETY_CAUTIONS, "Rostermay Fuel Dock: nobody said how many pumps it has."),
    }
    return CruisePlan(**{**plain, **changes})


def words(**changes: Any) -> CruiseWords:
    """Make what is said of the cruise, to an organiser in US gallons."""
    return words_of(cruise(**changes))


def words_of(plan: CruisePlan) -> CruiseWords:
    """Make what is said of any plan of these boats."""
    return CruiseWords(plan, boats(), ZONE, "EUR")


def clones(count: int) -> CruiseWords:
    """Make a cruise of many boats: the same over and over, one turn after the other at each stop."""
    plan, known = cruise(), boats()
    names = {f"{b.name} {n}" if n else b.name: i for n in range(count) for i, b in enumerate(known)}
    names = dict(list(names.items())[:count])
    fleet = tuple(known[i].model_copy(update={"name": name}) for name, i in names.items())
    plans = tuple(plan.boats[i].model_copy(update={"boat": name}) for name, i in names.items())
    stops = []
    for stop in plan.stops:
        turns, begin = [], stop.boats[0].begin
        for name, i in names.items():
            for turn in stop.boats:
                if turn.boat == known[i].name:
                    moved = {"boat": name, "begin": begin, "come": begin, "end": begin + (turn.end - turn.begin)}
                    wait_min = (begin - turn.arrive).total_seconds() / 60
                    turns.append(turn.model_copy(update={**moved, "wait_min": wait_min}))
                    begin += turn.end - turn.begin
        total_l = {f: sum(t.take_l for t in turns if t.fuel == f) for f in ("gasoline", "diesel")}
        stops.append(stop.model_copy(update={"boats": tuple(turns), "depart": begin, "total_l": total_l}))
    return CruiseWords(plan.model_copy(update={"boats": plans, "stops": tuple(stops)}), fleet, ZONE, "EUR")
