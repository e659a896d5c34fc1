"""What else decides where a boat may go: hazards, zones, bridges, cables, openings and tidal narrows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from demo_region.plane import chance
from demo_region.shore import ring_about

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from demo_region.shore import Shore

__all__ = [
    "NARROWS_NMI",
    "POOR_SURVEYS_NMI",
    "UNSURVEYED_NMI",
    "Item",
    "build_currents",
    "build_hazards",
    "build_openings",
    "build_overhead",
    "build_zones",
]

NARROWS_NMI: Final = ((129.0, 57.2), (131.4, 56.8), (132.4, 57.0), (133.6, 57.4))  # kept deep enough for day boats

# Water without a single sounding, and water sounded long ago: rings on the board. [nmi]
UNSURVEYED_NMI: Final = (
    ((2.0, 4.0), (8.0, 2.5), (10.5, 7.0), (8.5, 12.0), (3.0, 11.0)),
    ((143.6, 79.4), (143.0, 71.0), (139.6, 69.3), (138.4, 70.8), (138.0, 74.0)),
)
POOR_SURVEYS_NMI: Final = (
    ((101.0, 80.2), (103.2, 80.5), (107.0, 80.9), (112.0, 91.0), (100.0, 91.0)),
    ((4.0, 13.0), (27.0, 12.0), (28.0, 29.0), (10.0, 32.0), (5.0, 22.0)),
)

# Rocks and wrecks: x, y [nmi], name, kind, keep off [m].
_ROCKS: Final = (
    (38.6, 21.4, "Ossarn Rock", "rock", 150),
    (55.9, 50.4, "Lorrimore", "rock", 200),
    (20.9, 30.6, "Far Farrow Teeth", "rock", 250),
    (30.9, 41.9, "Orlimoor Pinnacle", "rock", 200),
    (72.8, 9.2, "Varrow Fang", "rock", 180),
    (84.9, 19.3, "Heel Rock", "rock", 120),
    (111.3, 52.2, "Yarl Button", "rock", 120),
    (133.4, 30.2, "Kittlemoor", "rock", 300),
    (100.6, 36.0, "Snarrow", "rock", 150),
    (127.6, 45.3, "Quillorrow Rock", "rock", 150),
    (62.6, 33.0, "Wickmarrow Stone", "rock", 150),
    (13.0, 59.9, "Quernmouth Stone", "rock", 120),
    (43.0, 46.7, "", "wreck", 100),
    (66.9, 14.6, "wreck of the Mild Oath", "wreck", 150),
    (91.0, 28.4, "", "wreck", 100),
    (118.9, 49.7, "wreck of the Odd Shilling", "wreck", 150),
    (124.5, 66.9, "", "obstruction", 120),
    (28.6, 49.2, "", "wreck", 100),
    (47.4, 70.6, "", "obstruction", 100),
    (135.6, 50.4, "", "wreck", 100),
)
_FIELDS: Final = (  # polygons: middle, radius [nmi], name, kind, keep off [m]
    ((34.6, 72.6), 0.5, "Pellanore mussel rafts", "fish farm", 30),
    ((106.9, 73.3), 0.6, "Ombrick fish pens", "fish farm", 50),
    ((55.0, 60.4), 0.45, "Tamblewick wave test site", "obstruction", 100),
)

_OPENING_BRIDGE: Final = ((41.7, 67.3), 88.0)  # middle [nmi] and bearing [deg]

_NO_WAKE_HARBOURS: Final = {  # harbour: radius [nmi]
    "Tolvarrow": 0.3, "Bressaval": 0.35, "Kestorin": 0.4, "Pellanore": 0.6, "Tamblewick": 0.4, "Wickmarrow": 0.35,
    "Averlock": 0.6, "Corrigale": 0.4, "Vellistrand": 0.4, "Brimmerquay": 0.8, "Ettermoy": 0.3, "Rostermay": 0.4,
    "Sundrevik": 0.5,
}  # fmt: skip


@dataclass(frozen=True)
class Item:
    """One row of a layer: what it is on the board, and its columns.

    Parameters
    ----------
    kind
        ``point``, ``line`` or ``polygon``.
    points_nmi
        [nmi] One point, the points of a line, or a closed ring.
    columns
        Its columns, in the order of the file.
    """

    kind: str
    points_nmi: NDArray[np.float64]
    columns: Mapping[str, Any]


def _ring(*corners: tuple[float, float]) -> NDArray[np.float64]:
    return np.array([*corners, corners[0]], dtype=np.float64)


def build_hazards(seed: int, shore: Shore) -> tuple[Item, ...]:
    """Make rocks, wrecks and fields of gear.

    Parameters
    ----------
    seed
        The region's seed.
    shore
        The finished coast; single rocks that would lie on land are left out.

    Returns
    -------
    Points and polygons, each with the distance to keep off.
    """
    import shapely  # noqa: PLC0415  # heavy: loaded only when a region is made

    rng = chance(seed, "hazards")
    rocks = list(_ROCKS)
    for x_nmi, y_nmi in (
        (20.0, 58.6),
        (34.0, 60.6),
        (46.0, 59.4),
        (96.0, 59.4),
        (120.5, 68.2),
        (123.0, 43.3),
        (41.0, 24.9),
        (115.2, 26.4),
        (136.0, 61.5),
    ):
        for _ in range(2):  # loose rocks about the skerries
            east, north = (rng.random(2) - 0.5) * 3.0
            rocks.append((x_nmi + float(east), y_nmi + float(north), "", "rock", 60 + 10 * int(rng.random() * 6)))
    items = []
    for x_nmi, y_nmi, name, kind, keep_off_m in rocks:
        if not shapely.intersects(shore.land, shapely.Point(x_nmi, y_nmi)):
            columns = {"name": name or None, "kind": kind, "keep_off_m": keep_off_m}
            items.append(Item("point", np.array([[x_nmi, y_nmi]]), columns))
    for middle, radius_nmi, name, kind, keep_off_m in _FIELDS:
        columns = {"name": name, "kind": kind, "keep_off_m": keep_off_m}
        items.append(Item("polygon", ring_about(middle, radius_nmi, 8), columns))
    return tuple(items)


def _zone(ring: NDArray[np.float64], name: str, rule: str, why: str, **more: Any) -> Item:
    columns = {
        "name": name,
        "rule": rule,
        "limit_kn": more.get("limit_kn"),
        "direction_deg": more.get("direction_deg"),
        "why": why,
        "season": more.get("season"),
    }
    return Item("polygon", ring, columns)


def build_zones(harbours_nmi: Mapping[str, tuple[float, float]]) -> tuple[Item, ...]:
    """Make the zones with a rule.

    Parameters
    ----------
    harbours_nmi
        [nmi] Where the harbours lie.

    Returns
    -------
    Polygons, some of which reach over land.
    """
    no_wake = [
        _zone(ring_about(harbours_nmi[name], radius_nmi, 12), f"{name} harbour", "no-wake", "moored boats")
        for name, radius_nmi in _NO_WAKE_HARBOURS.items()
    ]
    return (
        *no_wake,
        _zone(
            _ring(
                (80.9, 20.4), (80.0, 19.3), (78.9, 20.3), (77.9, 22.0), (77.4, 23.8),
                (79.2, 23.8), (79.4, 22.2), (80.3, 20.9),
            ),
            "Hesterquay inlet", "no-wake", "houses and moorings on both banks from the heads to the quay",
        ),
        _zone(
            _ring((41.3, 66.3), (42.3, 66.1), (42.6, 67.1), (42.4, 68.1), (41.2, 68.1), (41.3, 67.2)),
            "Hallowmar Strait", "no-wake", "narrow and blind",
        ),
        _zone(
            _ring((131.3, 56.0), (133.8, 56.6), (133.8, 58.0), (131.3, 57.6)),
            "Vindelsay Gate narrows", "no-wake", "bridge piers",
        ),
        _zone(
            _ring((36.0, 81.8), (38.4, 81.8), (38.2, 84.0), (37.9, 89.0), (36.0, 89.0)),
            "Ullinore inlet", "speed-limit", "landing stages all along the inlet", limit_kn=12,
        ),
        _zone(
            _ring((134.1, 77.0), (136.2, 76.2), (139.4, 80.6), (138.2, 81.4), (134.4, 79.4)),
            "Upper Ettermoy", "speed-limit", "rowing course", limit_kn=10,
        ),
        _zone(
            _ring((101.8, 37.6), (106.6, 37.4), (108.2, 40.4), (106.9, 42.9), (102.4, 43.2), (101.2, 40.2)),
            "Yarl Sanctuary", "no-entry", "breeding seals and seabirds",
        ),
        _zone(
            ring_about((31.1, 56.3), 1.3, 10),
            "Twin Quarrow tern islet", "no-entry", "nesting terns", season="Apr 15-Aug 31",
        ),
        _zone(
            _ring(
                (58.0, 4.2), (66.0, 5.4), (74.0, 6.0), (82.0, 5.6), (91.0, 4.6),
                (91.0, 6.6), (82.0, 7.6), (74.0, 8.0), (66.0, 7.4), (58.0, 6.2),
            ),
            "Cape Varrow westbound lane", "traffic-lane", "ships round the cape westbound", direction_deg=270,
        ),
        _zone(
            _ring(
                (58.0, 0.6), (66.0, 1.6), (74.0, 2.2), (82.0, 1.8), (91.0, 0.8),
                (91.0, 2.8), (82.0, 3.8), (74.0, 4.2), (66.0, 3.6), (58.0, 2.6),
            ),
            "Cape Varrow eastbound lane", "traffic-lane", "ships round the cape eastbound", direction_deg=90,
        ),
        _zone(
            _ring((60.6, 47.4), (62.0, 47.5), (62.2, 49.0), (60.6, 49.2)),
            "Durrimouth bar", "bar", "breaks with any swell from the west and on the ebb",
        ),
        _zone(
            _ring((86.0, 8.6), (91.0, 11.4), (90.6, 15.4), (86.4, 13.6)),
            "Dravenmoor overfalls", "caution", "steep seas over the bank when wind and stream meet",
        ),
        _zone(
            _ring((108.0, 8.0), (118.0, 8.0), (118.0, 14.0), (108.0, 14.0)),
            "Corrowen firing ground", "caution", "listen on channel 16 before you enter", season="Mo-Fr 09:00-16:00",
        ),
    )  # fmt: skip


def _spans(shore: Shore, middle_nmi: tuple[float, float], bearing_deg: float) -> list[NDArray[np.float64]]:
    """Return the line from land to land; nothing where the coast of another seed has no strait there."""
    try:
        return [shore.span(middle_nmi, bearing_deg)]
    except LookupError:
        return []


def build_overhead(shore: Shore) -> tuple[Item, ...]:
    """Make the low bridges and the cable.

    Parameters
    ----------
    shore
        The finished coast.

    Returns
    -------
    Lines from land to land with the safe clearance.
    """
    rows = (
        ((132.4, 57.0), 160.0, "Vindelsay Gate bridge", "bridge", 4.1),
        (*_OPENING_BRIDGE, "Hallowmar Strait bridge", "bridge", 2.2),
        ((37.5, 82.7), 80.0, "Ullinore power cable", "cable", 12.0),
    )
    return tuple(
        Item("line", line, {"name": name, "kind": kind, "clearance_m": clearance_m})
        for middle, bearing_deg, name, kind, clearance_m in rows
        for line in _spans(shore, middle, bearing_deg)
    )


def build_openings(shore: Shore) -> tuple[Item, ...]:
    """Make the opening span and the lock.

    Parameters
    ----------
    shore
        The finished coast.

    Returns
    -------
    The span as a point in the middle of its bridge, the lock as a line from land to land.
    """
    span = {
        "name": "Hallowmar Strait opening span",
        "kind": "bridge",
        "closed_clearance_m": 2.2,
        "opening_hours": "Mo-Su 06:00-22:00",
        "vhf": "11",
        "wait_min": 10,
    }
    lock = {
        "name": "Brimmerquay lock",
        "kind": "lock",
        "closed_clearance_m": None,
        "opening_hours": "Mo-Su 07:00-21:00",
        "vhf": "13",
        "wait_min": 20,
    }
    return (
        *(Item("point", line.mean(axis=0, keepdims=True), span) for line in _spans(shore, *_OPENING_BRIDGE)),
        *(Item("line", line, lock) for line in _spans(shore, (110.5, 78.9), 90.0)),
    )


def build_currents() -> tuple[Item, ...]:
    """Make the tidal narrows.

    Returns
    -------
    Polygons with the stream's directions and constituents.
    """
    rows = (
        (
            _ring((41.2, 66.0), (42.5, 65.9), (42.7, 67.2), (42.5, 68.4), (41.1, 68.4), (41.3, 67.2)),
            {
                "name": "Hallowmar Strait", "flood_deg": 352, "ebb_deg": 172, "mean_kn": 0.1,
                "constituents": "M2 2.9 64; S2 1.0 101; N2 0.6 47; M4 0.2 210",
            },
        ),
        (
            _ring(
                (128.4, 47.8), (130.6, 47.6), (130.8, 48.6), (129.7, 49.4), (129.9, 51.6),
                (128.5, 51.6), (128.4, 49.4),
            ),
            {
                "name": "Vindelsay Strait", "flood_deg": 5, "ebb_deg": 185, "mean_kn": -0.2,
                "constituents": "M2 2.1 52; S2 0.7 88; N2 0.4 35; K1 0.2 120",
            },
        ),
    )  # fmt: skip
    return tuple(Item("polygon", ring, columns) for ring, columns in rows)
