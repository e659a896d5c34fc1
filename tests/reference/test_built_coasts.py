"""Regions built from a real coast as it is published, against published areas of islands.

The coast is GSHHG 2.3.6 at its intermediate resolution (see `coasts`), written as the shapefile that its publishers
call by this name. Areas of islands are from memory, as encyclopedias give them; the tolerance, 5 %, was chosen before
they were looked at: the coast leaves out what is smaller than about a kilometre.
"""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import geopandas as gpd
import pytest
import shapely
from reference.coasts import land_rings

from layers import Recipe, add_sources, assemble
from layers.mending import area_m2

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture(scope="module")
def world(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write the shores of the world as a shapefile."""
    rings, _ = land_rings()
    path = tmp_path_factory.mktemp("world") / "GSHHS_i_L1.shp"
    gpd.GeoDataFrame({"id": range(len(rings))}, geometry=[shapely.Polygon(ring) for ring in rings], crs=4326).to_file(
        path
    )
    return path


@pytest.mark.parametrize(
    ("extent", "km2"),
    [
        ((-4.9, 54.0, -4.2, 54.5), 572),  # Isle of Man
        ((14.30, 35.79, 14.60, 36.01), 246),  # Malta without Gozo
        ((-23.9, 14.8, -23.3, 15.4), 991),  # Santiago, Cape Verde
        ((177.2, -18.4, 178.8, -17.2), 10_388),  # Viti Levu
        ((179.7, -17.2, -179.6, -16.6), 434),  # Taveuni, which the 180th meridian crosses
    ],
)
def test_the_area_of_an_island(world: Path, extent: tuple[float, float, float, float], km2: float):
    recipe, _ = add_sources(Recipe(extent=extent), [world])
    built = assemble(recipe, today=date(2026, 7, 1))
    land = built.region.layer("land").geometry.to_numpy()
    largest = max(area_m2(part) for part in land)
    assert largest / 1e6 == pytest.approx(km2, rel=0.05)
    assert shapely.is_valid(land).all()
    assert built.region.about.sources["land"].licence == "LGPL"
