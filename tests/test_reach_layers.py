"""A reach as layers: the form that the schema promises, the figures of the reach, and any GIS program opens them."""

from __future__ import annotations

from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pyogrio
import pytest
import shapely
from faces import small_network
from geographiclib.geodesic import Geodesic
from posed_reach import a_place, a_turning_point, an_area, posed_reach

from layers.checking import check_layer
from layers.schema import COMPUTED
from layers.writing import write_layers
from routeplan.reach_layers import layers_of_reach

if TYPE_CHECKING:
    from pathlib import Path

    from geopandas import GeoDataFrame

    from routeplan.network import Network
    from routeplan.reach import Reach

NASTY = '<b>Pump</b> & "Sons" ${x} `y` </script>'


@pytest.fixture(scope="module")
def network(tmp_path_factory: pytest.TempPathFactory) -> Network:
    """Build the small waters."""
    return small_network(tmp_path_factory.mktemp("reach_layers"))


@pytest.fixture(scope="module")
def reach(network: Network) -> Reach:
    """Pose a reach with an area at another speed, an empty one, and names that break careless pages."""
    posed = posed_reach(network)
    more = (an_area(speed_kn=25.0), an_area(kind="thirds", figure="mean", geometry=shapely.MultiPolygon()))
    return posed_reach(
        network,
        areas=(*posed.areas, *more),
        places=(*posed.places, a_place(NASTY)),
        turning_points=(a_turning_point(), a_turning_point(towards=(), dock=NASTY)),
    )


@pytest.fixture(scope="module")
def layers(reach: Reach) -> dict[str, GeoDataFrame]:
    """Make all of its layers."""
    return layers_of_reach(reach)


def test_all_layers_keep_their_schema(layers: dict[str, GeoDataFrame]) -> None:
    assert set(layers) == {
        *("stops", "reach", "rings", "reach_places", "turning_points", "data_edges", "closed_water", "dock_marks"),
    }
    for name, frame in layers.items():
        assert frame.crs.to_epsg() == 4326
        _, faults = check_layer(frame, COMPUTED[name], zone=ZoneInfo("Atlantic/Azores"))
        assert faults == [], name


def test_a_reach_without_places_points_and_edges_keeps_it_too(network: Network) -> None:
    nothing = shapely.MultiLineString([])
    bare = posed_reach(network, places=(), turning_points=(), dock_water=None, data_edges=nothing, rings_nmi=())
    for name, frame in layers_of_reach(bare).items():
        _, faults = check_layer(frame, COMPUTED[name], zone=ZoneInfo("Atlantic/Azores"))
        assert faults == [], name
        assert len(frame) == {"stops": 1, "reach": 5, "rings": 1, "dock_marks": 3}.get(name, 0)


def test_areas_are_those_of_the_reach(layers: dict[str, GeoDataFrame]) -> None:
    """The empty one has no shape to draw; the water from which some dock can be made is told last."""
    frame = layers["reach"]
    told = list(zip(frame["kind"], frame["figure"], frame["speed_kn"], frame["there_and_back"], strict=True))
    assert told == [
        ("one-way", "low", 20.0, False),
        ("one-way", "mean", 20.0, False),
        ("out-and-back", "low", 20.0, True),
        ("out-and-back", "mean", 20.0, True),
        ("thirds", "low", 20.0, True),
        ("one-way", "low", 25.0, False),
        ("some-dock", "low", 20.0, False),
    ]
    assert frame["fuel_l"].tolist()[:6] == [40.0, 55.0, 20.0, 27.5, 15.0, 40.0]
    assert frame["fuel_l"].isna().tolist() == [*([False] * 6), True]
    assert frame.geometry.iloc[0].bounds == pytest.approx((-38.95, 44.45, -38.7, 44.55))
    assert frame["title"].iloc[0] == "One way at 20 kn, low figure: 20 nmi out"


def test_the_start_is_a_mark(layers: dict[str, GeoDataFrame]) -> None:
    (start,) = layers["stops"].itertuples()
    assert (start.order, start.kind, start.name, start.label) == (0, "start", "West Mark", "70.0 l aboard")
    assert (start.geometry.x, start.geometry.y) == (-38.9, 44.5)


def test_a_map_may_have_the_chosen_speed_alone(reach: Reach) -> None:
    assert set(layers_of_reach(reach, every_speed=False)["reach"]["speed_kn"]) == {20.0}


def test_what_an_area_rests_on_is_in_its_text(network: Network) -> None:
    area = an_area(
        kind="budget",
        fuel_l=20.0,
        time_h=0.5,
        gates=("High Lock",),
        inside=True,
        cut_by_extent=True,
        there_and_back=True,
    )
    text = layers_of_reach(posed_reach(network, areas=(area,)))["reach"]["text"].iloc[0]
    for words in ("20.0 l each way", "30 min", "nine times in ten", "inside the truth", "the data's"):
        assert words in text, words


def test_rings_are_geodesic_circles(layers: dict[str, GeoDataFrame]) -> None:
    """Karney's distance from the start (geographiclib) to each corner; 1 nmi is 1852 m by definition."""
    rings = layers["rings"]
    assert list(zip(rings["kind"], rings["distance_nmi"], strict=True)) == [
        *(("mark", 5.0), ("mark", 10.0), ("promised", 20.0)),
    ]
    for ring, nmi in zip(rings.geometry, rings["distance_nmi"], strict=True):
        for lon, lat in ring.coords[::15]:
            metres = Geodesic.WGS84.Inverse(44.5, -38.9, lat, lon)["s12"]
            assert metres == pytest.approx(1852 * nmi, abs=0.01)


def test_places_and_turning_points_are_where_they_were_found(reach: Reach, layers: dict[str, GeoDataFrame]) -> None:
    places, points = layers["reach_places"], layers["turning_points"]
    assert places["name"].tolist() == ["South Pump", "East Bay", "North Pump", NASTY]
    assert [(p.x, p.y) for p in places.geometry] == [p.position for p in reach.places]
    assert places["there_and_back"].tolist() == [True, True, False, True]
    assert places["refuel"].tolist() == ["opens later", "no", "yes", "no"]
    assert "one way only" in places["text"].iloc[2]
    assert places["label"].iloc[1] == "10.0 nmi, 30 min"
    assert "back at the start with 30.0 l, low 24.5 l" in places["text"].iloc[1]
    assert points["towards"].tolist() == ["to the north-east, towards East Bay and East Mark", "to the north-east"]
    assert points["label"].iloc[0] == "last dock North Pump"
    assert [(p.x, p.y) for p in points.geometry] == [p.position for p in reach.turning_points]


def test_the_datas_edge_says_whose_it_is(layers: dict[str, GeoDataFrame]) -> None:
    (text,) = layers["data_edges"]["text"]
    assert "to the west" in text
    assert "the edge is the data's, not the boat's" in text


@pytest.mark.parametrize("target", ["reach.gpkg", "reach"])
def test_other_programs_open_them(layers: dict[str, GeoDataFrame], tmp_path: Path, target: str) -> None:
    """By GDAL (pyogrio): each layer with its rows, columns and WGS 84; text comes back as it was."""
    path = tmp_path / target
    write_layers(layers, path)
    for name, frame in layers.items():
        where = {"layer": name} if target.endswith("gpkg") else {}
        found = pyogrio.read_dataframe(path if where else path / f"{name}.geojson", **where)
        assert len(found) == len(frame), name
        if not len(frame):
            continue
        assert found.crs.to_epsg() == 4326
        assert set(frame.columns) <= {*found.columns}, name
        assert found["title"].tolist() == frame["title"].tolist()
        assert all(shapely.is_valid(found.geometry.to_numpy()))
    where = {"layer": "reach"} if target.endswith("gpkg") else {}
    found = pyogrio.read_dataframe(path if where else path / "reach.geojson", **where)
    for shape, written in zip(found.geometry, layers["reach"].geometry, strict=True):
        assert shape.symmetric_difference(written).area < 1e-8  # square degrees: about 80 square metres
