"""Ways over moving water: the better side of a channel, still water as ever, and finer points gain next to nothing."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import shapely
from oracles.small_world import NMI_M, box, dock, make_boat, make_region, waypoint, zone

import routeplan.currents
from layers.constituents import read_constituents
from routeplan.building import build_network
from routeplan.conditions import Conditions
from routeplan.currents import Currents
from routeplan.earliest import EarliestSearch
from routeplan.moving_tracks import MovingTracks, with_currents
from routeplan.tidal_streams import TidalStream
from routeplan.tracks import Track, Tracks

if TYPE_CHECKING:
    from routeplan.boats import Boat
    from routeplan.network import Network

BEGIN = datetime(2026, 7, 1, tzinfo=UTC)
FINER_SHARE = 5e-3  # of the time, that points twice as dense may gain; chosen beforehand
STEERED_SHARE = 5e-3  # of the time, that merging bends and dropping kinks may cost beside the network's best

Bounds = tuple[float, float, float, float]


def a_boat(kn: float = 8.0) -> Boat:
    """Make a boat of some speed."""
    return make_boat(speed_kn=(4.0, kn), burn_lph=(6.0, 2 * kn), cruising_speed_kn=kn, no_wake_kn=4.0)


def miles(bounds: Bounds) -> shapely.Polygon:
    """[m] A box given in miles."""
    return box(*(NMI_M * v for v in bounds))


@cache
def channel(kn: float = 8.0) -> Network:
    """Build a channel 3 nmi wide and 16 long, from A in the west to B in the east, both in its middle."""
    land = [(miles((-8, 1.5, 8, 6)), {"name": "North"}), (miles((-8, -6, 8, -1.5)), {"name": "South"})]
    ends = [waypoint(-9 * NMI_M, 0, "A"), waypoint(9 * NMI_M, 0, "B")]
    return build_network(make_region(land=land, waypoints=ends), a_boat(kn))


def streams(*rows: tuple[Bounds, float, str]) -> Any:
    """Make streams that flood to the east, in boxes of miles, on the channel's plane."""
    return Currents(
        channel().water.plane,
        tuple(
            TidalStream(f"Race {i}", 90, 270, mean, read_constituents(text) if text else (), 44.0)
            for i, (_, mean, text) in enumerate(rows)
        ),
        tuple(miles(bounds) for bounds, _, _ in rows),
    )


def two_lanes(sign: float, text: str = "") -> Conditions:
    """Run 3 kn in the middle half mile to either side, a quarter of a knot near one shore, too far off to be mixed."""
    rows = [((-7, -0.5, 7, 0.5), 3.0), ((-7, -1.5, 7, -0.8), 0.25)]
    return Conditions(BEGIN, 40, streams(*((b, sign * kn, text if kn > 1 else "") for b, kn in rows)))


@cache
def in_a_tide() -> MovingTracks:
    """Set the lanes up in a tide that turns."""
    conditions = two_lanes(0.3, "M2 2.5 70")
    tracks = MovingTracks(with_currents(channel(), conditions), a_boat(), 8.0, conditions)
    tracks.find([(0, 1), (1, 0)])
    return tracks


def off_middle_nmi(track: Track) -> float:
    """[nmi] How far a way is off the channel's middle half way along."""
    met = shapely.LineString(track.bends).intersection(shapely.LineString([(0, -5000), (0, 5000)]))
    return abs(shapely.get_coordinates(met)[0, 1]) / NMI_M


def best(
    conditions: Conditions, pair: tuple[int, int] = (0, 1), at_h: float = 1.0, kn: float = 8.0
) -> tuple[Track, float]:
    """Find the way that is quickest when it is left then, and its hours."""
    tracks = MovingTracks(with_currents(channel(kn), conditions), a_boat(kn), kn, conditions)
    found = tracks.find([pair])[pair]
    hours = [hours_of(track, at_h) for track in found]
    quickest = int(np.argmin(hours))
    return found[quickest], hours[quickest]


def hours_of(track: Track, at_h: float) -> float:
    """[h] What a track takes when it is left then."""
    if track.sailing is None:
        return track.time_h
    sailed = track.sailing.at(at_h)
    return np.inf if sailed is None else sailed.time_h


def test_a_fair_stream_is_run_with_in_the_middle_and_a_foul_one_passed_at_the_side() -> None:
    """18 nmi at 8 kn: 14 of them at 11 kn with the stream; at 8 kn beside it, where the middle would make 5 kn."""
    fair, fair_h = best(two_lanes(1))
    assert off_middle_nmi(fair) < 0.25
    assert fair_h == pytest.approx(4 / 8 + 14 / 11, rel=0.01)
    foul, foul_h = best(two_lanes(-1))
    assert off_middle_nmi(foul) > 0.49
    assert 18 / 8 * 0.999 < foul_h < 1.02 * 18 / 8


@pytest.mark.slow
@pytest.mark.parametrize("sign", [1, -1])
def test_points_twice_as_dense_gain_next_to_nothing(sign: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two streams that touch, and are mixed where they do: 3 kn and 0.3 kn over 4 nmi."""
    conditions = Conditions(BEGIN, 6, streams(((-2, -1.5, 2, 0), sign * 3, ""), ((-2, 0, 2, 1.5), sign * 0.3, "")))
    _, hours = best(conditions)
    monkeypatch.setattr(routeplan.currents, "_POINTS_AN_AREA", 120)
    monkeypatch.setattr(routeplan.currents, "_LEAST_SPACING_M", 100.0)
    _, finer_h = best(conditions)
    assert hours <= finer_h * (1 + FINER_SHARE)


@pytest.mark.slow
@pytest.mark.parametrize(("pair", "leave_h"), [((0, 1), 1.0), ((1, 0), 11.0)])
def test_ways_as_steered_are_about_as_quick_as_the_network_allows(pair: tuple[int, int], leave_h: float) -> None:
    """In a tide that turns on the way, with the network's best way of that departure taken up."""
    tracks = in_a_tide()
    earliest = EarliestSearch(tracks).find(*pair, leave_h)
    assert earliest is not None
    found = tracks.find([pair])[pair]
    steered = [*found, tracks.add(pair, earliest.nodes, leave_h, earliest.arrive_h)]
    hours = [hours_of(track, leave_h) for track in steered]
    lasts_h = earliest.arrive_h - leave_h
    assert min(hours) <= lasts_h * (1 + STEERED_SHARE)
    assert min(hours) >= lasts_h * (1 - STEERED_SHARE)  # a way that is straightened may be quicker than the network's


def test_in_currents_that_are_nothing_ways_are_those_of_still_water() -> None:
    """Limits and docks among them: the same hours and litres as without currents, as near as any way is to the best.

    There and back are steered by themselves here, and kinks that save less than a thousandth go.
    """
    land = [(miles((-2, -1, 2, 1)), {"name": "Rock"})]
    places = [waypoint(-9 * NMI_M, 0, "A"), waypoint(9 * NMI_M, 0, "B")]
    docks = [dock(0, NMI_M, "Pump"), dock(2 * NMI_M, -0.5 * NMI_M, "Other")]
    slow = [zone(miles((-1, 1, 1, 1.4)), "no-wake"), zone(miles((3, -0.5, 4, 0.5)), "speed-limit", "S", limit_kn=6.0)]
    network = build_network(make_region(land=land, waypoints=places, docks=docks, zones=slow), a_boat())
    nothing = Currents(network.water.plane, (TidalStream("None", 90, 270, 0.0, (), 44.0),), (miles((-8, -6, 8, 6)),))
    pairs = [(a, b) for a in range(4) for b in range(4) if a != b]
    still = Tracks(network, a_boat(), 8.0).find(pairs)
    moving = MovingTracks(network, a_boat(), 8.0, Conditions(BEGIN, 40, nothing)).find(pairs)
    assert still.keys() == moving.keys()
    for pair, tracks in still.items():
        for theirs, ours in zip(tracks, moving[pair], strict=True):
            assert ours.sailing is None
            assert ours.time_h == pytest.approx(theirs.time_h, rel=1e-4)
            assert ours.fuel_l == pytest.approx(theirs.fuel_l, rel=1e-4)
            assert _shortest_m(ours) >= min(_shortest_m(theirs), 0.15 * NMI_M) - 1  # nearer bends can't be steered


def _shortest_m(track: Track) -> float:
    """[m] The shortest leg between two bends."""
    lengths = np.hypot(*np.diff(track.bends, axis=0).T)
    inner = [m for m, kind in zip(lengths, track.kinds, strict=True) if kind == "leg"][1:-1]
    return min(inner, default=np.inf)


def test_far_from_any_current_nothing_changes() -> None:
    conditions = Conditions(BEGIN, 60, streams(((-9.9, 7, -9.5, 9), 2.0, "")))
    tracks = MovingTracks(with_currents(channel(), conditions), a_boat(), 8.0, conditions)
    (track,) = tracks.find([(0, 1)])[0, 1]
    assert track.sailing is None
    assert track.time_h == pytest.approx(18 / 8, rel=1e-3)
    assert not tracks.is_swayed((0, 1))


def test_what_a_track_says_of_itself_is_never_beaten() -> None:
    """Least time and fuel, most fuel: over departures every quarter of an hour."""
    tracks = in_a_tide()
    for pair in ((0, 1), (1, 0)):
        for track in tracks.find([pair])[pair]:
            if track.sailing is None:
                continue
            hours, litres = track.sailing.many(np.arange(0, 50, 0.25))
            assert np.nanmin(hours) >= track.time_h - 1e-9
            assert np.nanmin(litres) >= track.fuel_l - 1e-9
            assert np.nanmax(litres) <= track.most_l * (1 + 1e-3)


def test_a_way_round_all_currents_is_taken_up_and_told_by_its_hours() -> None:
    """A way that keeps clear of a current is no worse for not depending on when it is left."""
    conditions = Conditions(BEGIN, 60, streams(((-7, -0.5, 7, 1.5), -3.0, "")))
    tracks = MovingTracks(with_currents(channel(), conditions), a_boat(), 8.0, conditions)
    earliest = EarliestSearch(tracks).find(0, 1, 1.0)
    assert earliest is not None
    track = tracks.add((0, 1), earliest.nodes, 1.0, earliest.arrive_h)
    assert hours_of(track, 1.0) == pytest.approx(earliest.arrive_h - 1.0, rel=STEERED_SHARE)
