"""Refuel searches drawn at random: docks strewn over a coast as long as wanted, with hours, prices and largest sales.

Distances are straight lines in the plane, lengthened a little for each pair, as headlands would; what is measured on
them is the search alone, without water.
"""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import networkx as nx
import numpy as np

from layers.hours import read_hours
from routeplan.docks import Dock
from routeplan.fuel import greatest_burn_l
from routeplan.problem import Problem
from routeplan.tracks import Track

if TYPE_CHECKING:
    from layers.hours import Hours

WIDE_NMI = 60.0  # of the strip that the docks lie in
SPEEDS = (
    (26.0, 2.5),
    (18.0, 2.6),
    (7.0, 2.1),
)  # [kn, l/nmi] an invented day boat: slower is not much less, up to a hump
FULL_L, FLOOR_L, UNUSABLE_L = 340.0, 48.0, 12.0  # [l] 100 nmi or so from full to the floor
HOURS = ("08:00-18:00", "07:00-12:00,13:00-20:00", "Mo-Fr 09:00-17:00; Sa,Su 10:00-14:00", "22:00-06:00", "24/7")
ZONE = ZoneInfo("UTC")


def plane_problem(
    seed: int,
    docks: int,
    *,
    rule_z: float = 1.2815515655446004,  # nine in ten
    long_nmi: float = 320.0,
    speeds: int = 1,
    with_hours: bool = True,
    **changes: Any,
) -> Problem:
    """Draw a search from one end of a strip of docks to the other, hops from docks to docks and ends."""
    rng = np.random.default_rng(seed)
    ends = np.array([[0.0, WIDE_NMI / 2], [long_nmi, WIDE_NMI / 2]])
    spots = np.vstack([ends, rng.uniform((0, 0), (long_nmi, WIDE_NMI), (docks, 2))])
    longer = 1 + np.triu(rng.uniform(0, 0.3, (len(spots), len(spots))), 1)
    longer = longer + longer.T - 1
    nmi = np.hypot(*(spots[:, None] - spots).transpose(2, 0, 1)) * longer
    read: dict[str, Hours] = {text: read_hours(text, ZONE) for text in HOURS}
    places = {i: _dock(i, rng, read if with_hours else {}) for i in range(2, docks + 2)}
    most_l = greatest_burn_l(FULL_L, 3.0, 0.06, rule_z, UNUSABLE_L)
    graph = nx.MultiDiGraph()
    graph.add_nodes_from(range(docks + 2))
    for a in graph:
        for b in graph:
            if a in (b, 1) or b == 0:
                continue
            for kn, l_per_nmi in SPEEDS[:speeds]:
                time_h, fuel_l = float(nmi[a, b]) / kn, float(nmi[a, b]) * l_per_nmi
                if fuel_l > most_l:
                    continue
                track = Track(np.zeros((2, 2)), ("leg",), float(nmi[a, b]), time_h, fuel_l, (), (), kn)
                graph.add_edge(a, b, track=track, distance_nmi=track.distance_nmi, time_h=time_h, fuel_l=fuel_l)
    network: Any = SimpleNamespace(water=SimpleNamespace(gates=()), region=SimpleNamespace(zone=ZONE))
    plain: dict[str, Any] = {
        "network": network,
        "graph": graph,
        "docks": places,
        "start": 0,
        "targets": (1,),
        "depart": datetime(2026, 7, 1, 6, tzinfo=UTC),
        "mean_l": 0.8 * FULL_L,
        "sd_l": 6.0,
        "full_l": FULL_L,
        "full_sd_l": 3.0,
        "floor_l": FLOOR_L,
        "sd_share": 0.06,
        "z": rule_z,
        "berthing_h": 0.25,
        "may_wait": frozenset(graph),
        "unusable_l": UNUSABLE_L,
        "guess_price_per_l": 2.0,
    }
    return Problem(**(plain | changes))


def _dock(number: int, rng: np.random.Generator, hours: dict[str, Hours]) -> Dock:
    price = None if rng.uniform() < 0.1 else int(rng.integers(160, 260)) / 100
    text = str(rng.choice(HOURS)) if rng.uniform() < 0.7 else ""
    largest = float(rng.integers(150, 300)) if rng.uniform() < 0.15 else None
    return Dock(
        name=f"dock {number}",
        row=number,
        position=(0, 0),
        hours=hours.get(text),
        price_per_l=price,
        pump_lpm=float(rng.choice([20.0, 38.0, 60.0])),
        largest_sale_l=largest,
        why_not=(),
        cautions=(),
        stale=(),
        missing=(),
        facts={},
    )
