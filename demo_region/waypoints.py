"""Named places of the invented coast: a harbour for every dock, anchorages, marks and entrances."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from demo_region.docks import Dock
    from demo_region.shore import Shore

__all__ = ["build_waypoints"]

_OTHERS: Final = (  # name, kind, about where [nmi]; the nearest open water is taken
    ("Perrow Pool", "anchorage", (12.0, 74.4)),
    ("Harbour of the Ossavays", "anchorage", (49.6, 27.2)),
    ("Farrow Bight", "anchorage", (13.4, 20.0)),
    ("Mollavane Bay", "anchorage", (65.2, 38.3)),
    ("Inner Hallowmar Road", "anchorage", (36.8, 69.6)),
    ("Heel Bay", "anchorage", (85.2, 25.2)),
    ("Yarl Lagoon", "anchorage", (108.0, 49.2)),
    ("Vindelsay Pool", "anchorage", (129.6, 56.6)),
    ("Ombrick Road", "anchorage", (107.0, 69.6)),
    ("Quillorrow Sound", "anchorage", (120.8, 46.6)),
    ("Corrow Lee", "anchorage", (124.8, 23.6)),
    ("Gorrimay Cove", "anchorage", (141.5, 57.2)),
    ("Cape Varrow", "mark", (74.6, 9.8)),
    ("Orlimoor Ledge", "mark", (31.0, 41.2)),
    ("Ossarn Rock West", "mark", (38.2, 21.8)),
    ("Dravenmoor Bank", "mark", (57.6, 14.8)),
    ("Snarrow Bank", "mark", (104.0, 32.6)),
    ("Bellowrock", "mark", (116.0, 58.9)),
    ("Kittlemoor Rock", "mark", (133.0, 30.8)),
    ("Lorrimore Skerry", "mark", (55.6, 50.9)),
    ("Twin Quarrow", "mark", (30.4, 57.6)),
    ("Far Farrow", "mark", (20.6, 31.2)),
    ("Tolvarrow Heads", "entrance", (11.0, 68.2)),
    ("Hesterquay Heads", "entrance", (81.4, 19.0)),
    ("Ettermoy Mouth", "entrance", (132.4, 73.6)),
    ("Ullinore Mouth", "entrance", (38.2, 79.2)),
    ("Durrimouth Bar Buoy", "entrance", (60.2, 48.0)),
    ("Hallowmar Strait South", "entrance", (41.9, 65.6)),
    ("Hallowmar Strait North", "entrance", (41.9, 69.2)),
    ("Vindelsay Gate West", "entrance", (126.4, 58.2)),
    ("Vindelsay Gate East", "entrance", (136.2, 57.4)),
    ("Inner Ombrick", "anchorage", (100.6, 66.9)),
    ("Brimmerquay Lock Approach", "entrance", (110.6, 77.9)),
    ("Vindelsay Strait", "entrance", (129.2, 46.6)),
    ("Skellimore Mouth", "entrance", (103.8, 78.0)),
)


def build_waypoints(
    shore: Shore, docks: tuple[tuple[tuple[float, float], Dock], ...]
) -> tuple[tuple[tuple[float, float], str, str], ...]:
    """Set every named place in open water.

    Parameters
    ----------
    shore
        The finished coast.
    docks
        [nmi] The docks with their places.

    Returns
    -------
    [nmi] Place, name and kind.
    """
    harbours = [(shore.float_at(place), dock.harbour, "harbour") for place, dock in docks if dock.reachable]
    return (*harbours, *((shore.float_at(near), name, kind) for name, kind, near in _OTHERS))
