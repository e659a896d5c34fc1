"""A region: what it says about itself and its layers, read, checked and held together.

The way in is `read_region`; the way out is `layers.writing`.
"""

from __future__ import annotations

import difflib
import hashlib
import json
import stat
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import shapely

from layers.about import ABOUT_NAME, RegionAbout, read_about
from layers.checking import check_layer, check_raw, empty_layer
from layers.errors import BadRow, InputError, LayersError
from layers.files import describe, file_status, read_text
from layers.findings import Finding
from layers.geojson import read_geojson
from layers.geopackage import read_geopackage
from layers.schema import LAYERS

if TYPE_CHECKING:
    import os
    from collections.abc import Mapping

    import geopandas as gpd

    from layers.checking import RawLayer

__all__ = ["Region", "build_region", "read_region"]

_ABOUT_LIMIT_BYTES = 256_000  # bytes; a region's own words, a hundred times over
_ALL_SWAPPED = 3  # rows: with fewer, it isn't plain whether they or the extent are the wrong way round
_OTHER_FORMATS = frozenset({"fgb", "gpkg", "json", "kml", "shp"})


@dataclass(frozen=True, eq=False)
class Region:
    """A region's waters: what it says about itself, and every layer.

    Parameters
    ----------
    about
        What the region says about itself.
    frames
        Every layer of `layers.LAYERS` by name, checked, in WGS 84, (lon, lat); an absent one has no rows. What
        None and NaN mean is said at the top of `layers.schema`. Not to be changed in place.
    present
        Names of the layers that the files had; one can be there and have no rows.
    where
        The folder or file it came from.
    notes
        What was left out in reading: unknown layers and columns, docks whose hours can't be read.
    """

    about: RegionAbout
    frames: Mapping[str, gpd.GeoDataFrame] = field(repr=False)
    present: frozenset[str]
    where: str
    notes: tuple[Finding, ...] = ()

    @property
    def zone(self) -> ZoneInfo:
        """The time zone that the region's hours are in."""
        return self.about.zone

    def layer(self, name: str) -> gpd.GeoDataFrame:
        """Return a layer.

        Parameters
        ----------
        name
            Its name, one of `layers.LAYERS`.

        Returns
        -------
        GeoDataFrame
            Its rows; none where it is absent.

        Raises
        ------
        InputError
            There is no layer of that name in any region; names the nearest.
        """
        if name not in self.frames:
            near = difflib.get_close_matches(name, list(self.frames), n=1)
            remedy = f"did you mean {near[0]}?" if near else f"the layers are {', '.join(self.frames)}"
            raise InputError("layer", "is unknown", value=name, remedy=remedy)
        return self.frames[name]

    @cached_property
    def digest(self) -> str:
        """SHA-256 of everything that the region holds, the same from a folder and from a GeoPackage."""
        total = hashlib.sha256()
        _add(total, json.dumps(self.about.model_dump(mode="json"), sort_keys=True).encode())
        for name, schema in LAYERS.items():
            frame = self.frames[name]
            _add(total, f"{name} {len(frame)} {'present' if name in self.present else 'absent'}".encode())
            for column in schema.columns:
                cells = [_canonical(value) for value in frame[column.name].tolist()]
                _add(total, json.dumps([column.name, cells]).encode())
            for body in shapely.to_wkb(frame.geometry.to_numpy(), byte_order=1, output_dimension=2):
                _add(total, body)
        return total.hexdigest()


def build_region(
    about: RegionAbout, layers: Mapping[str, gpd.GeoDataFrame], *, where: str = "a region in memory"
) -> Region:
    """Make a region out of frames.

    Parameters
    ----------
    about
        What the region says about itself.
    layers
        Its layers by name; those left out are absent.
    where
        What to call it in messages.

    Returns
    -------
    Region
        The region, checked as if it had been read.

    Raises
    ------
    LayersError
        Rows break their schema, or a layer is unknown; carries every fault.

    Examples
    --------
    >>> import shapely
    >>> from layers.checking import build_layer
    >>> about = RegionAbout(name="Nowhere", extent=(-39, 44, -37, 45), time_zone="UTC", chart_datum="LAT",
    ...                     clearance_datum="MHWS", currency="EUR")
    >>> land = build_layer(LAYERS["land"], [{"name": "Holm"}], [shapely.box(-38.2, 44.2, -38.1, 44.3)])
    >>> region = build_region(about, {"land": land})
    >>> sorted(region.present), len(region.layer("docks"))
    (['land'], 0)
    """
    faults = [
        BadRow(name, 0, "name", name, f"is no layer; the layers are {', '.join(LAYERS)}")
        for name in layers
        if name not in LAYERS
    ]
    frames = {}
    for name, schema in LAYERS.items():
        frames[name] = empty_layer(schema)
        if name in layers:
            frames[name], bad = check_layer(layers[name], schema, zone=about.zone, extent=about.extent)
            faults += bad
    if faults:
        raise LayersError(where, faults)
    return Region(about, frames, frozenset(layers), where)


def read_region(path: str | os.PathLike[str], *, skip_bad_docks: bool = False) -> Region:
    """Read a region from a folder or a GeoPackage.

    Parameters
    ----------
    path
        A folder with a ``region.toml`` and a GeoJSON file for each layer, or a ``.gpkg`` file with the same layers
        and a table ``routeplan_region``.
    skip_bad_docks
        Leave out docks whose opening hours can't be read, each with a note, instead of refusing the region.

    Returns
    -------
    Region
        The region, every row checked.

    Raises
    ------
    InputError
        The path is no region, or can't be read.
    LayersError
        Something in ``region.toml`` or in the layers is wrong; carries every fault of all of them at once, each
        with layer, row, column, value and rule.
    """
    found = Path(path)
    mode = file_status(found).st_mode
    if stat.S_ISDIR(mode):
        text, raws, notes = _read_folder(found)
    elif found.suffix.lower() == ".gpkg":
        text, raws, others = read_geopackage(found, LAYERS)
        notes = [_unknown_layer(name) for name in others]
    else:
        raise InputError(str(path), "is neither a folder nor a GeoPackage (.gpkg)")
    return _checked_region(str(path), text, raws, notes, skip_bad_docks=skip_bad_docks)


def _read_folder(folder: Path) -> tuple[str, dict[str, RawLayer], list[Finding]]:
    try:
        names = sorted(entry.name for entry in folder.iterdir())
    except OSError as error:
        raise InputError(str(folder), f"can't be read: {describe(error)}") from error
    if ABOUT_NAME not in names:
        raise InputError(
            str(folder),
            f"has no {ABOUT_NAME}, so it is no region",
            remedy="check the path, or write one as README.md says",
        )
    text = read_text(folder / ABOUT_NAME, _ABOUT_LIMIT_BYTES)
    raws = {layer: read_geojson(folder / f"{layer}.geojson", layer) for layer in LAYERS if f"{layer}.geojson" in names}
    notes = []
    for name in names:
        stem, _, ending = name.rpartition(".")
        read = ending == "geojson" and stem in LAYERS
        meant = ending.lower() in _OTHER_FORMATS and stem.lower() in LAYERS
        if not read and (meant or ending.lower() == "geojson"):
            notes.append(_unknown_layer(stem, name))
    return text, raws, notes


def _unknown_layer(name: str, file_name: str = "") -> Finding:
    near = difflib.get_close_matches(name.lower(), list(LAYERS), n=1)
    called = f"{near[0]}.geojson" if near and file_name else (near[0] if near else "")
    what = f"file {file_name}" if file_name else f"table {name}"
    remedy = f"call it {called} if it is that layer" if called else f"the layers are {', '.join(LAYERS)}"
    return Finding(name, 0, "", f"{what} is no layer of a region and was not read", remedy)


def _checked_region(
    where: str, text: str, raws: Mapping[str, RawLayer], notes: list[Finding], *, skip_bad_docks: bool
) -> Region:
    faults: list[BadRow] = []
    about = None
    try:
        about = read_about(text, where)
    except LayersError as error:
        faults += error.bad_rows
    # Layers are checked even where the region's own words are wrong, so that all faults come at once.
    zone, extent = (about.zone, about.extent) if about else (ZoneInfo("UTC"), None)
    frames = {}
    for name, schema in LAYERS.items():
        if name not in raws:
            frames[name] = empty_layer(schema)
            continue
        raw = raws[name]
        frames[name], bad = check_raw(raw, schema, zone=zone, extent=extent)
        notes += [
            Finding(name, 0, "", f"column {column} is no column of this layer and was not read", _near(column, schema))
            for column in raw.columns
            if column not in schema.column_names
        ]
        bad = [replace(fault, name=_called(raw, fault)) if fault.row and not fault.name else fault for fault in bad]
        if skip_bad_docks and name == "docks":
            notes += [_skipped(fault) for fault in bad if _bad_hours(fault)]
            bad = [fault for fault in bad if not _bad_hours(fault)]
        faults += bad
    if about is None or faults:
        raise LayersError(where, _with_one_cause(faults, raws, about))
    return Region(about, frames, frozenset(raws), where, tuple(notes))


def _with_one_cause(faults: list[BadRow], raws: Mapping[str, RawLayer], about: RegionAbout | None) -> list[BadRow]:
    """Put one fault of the extent in the place of every row's, where all rows look swapped: likely it is the extent."""
    swapped = [fault for fault in faults if fault.rule.endswith("look swapped")]
    count = sum(len(raw.geometry) for raw in raws.values())
    if about is None or count < _ALL_SWAPPED or len(swapped) < count:
        return faults
    west, south, east, north = about.extent
    rule = (
        f"all {count} rows would lie in it with longitude and latitude exchanged: "
        f"write [{south:g}, {west:g}, {north:g}, {east:g}], west, south, east, north, or exchange them in every layer"
    )
    cause = BadRow(ABOUT_NAME, 0, "extent", f"{west:g}, {south:g}, {east:g}, {north:g}", rule)
    return [cause, *(fault for fault in faults if fault not in swapped)]


def _near(column: str, schema: Any) -> str:
    near = difflib.get_close_matches(column.lower(), schema.column_names, n=1)
    return f"call it {near[0]} if it is that column" if near else ""


def _bad_hours(fault: BadRow) -> bool:
    return fault.column == "opening_hours" and fault.row > 0


def _called(raw: RawLayer, fault: BadRow) -> str:
    """Look up what a row with a fault calls itself."""
    name = raw.columns.get("name", ())[fault.row - 1 : fault.row]
    return name[0].strip() if len(name) and isinstance(name[0], str) and fault.column != "name" else ""


def _skipped(fault: BadRow) -> Finding:
    problem = f"left out, for its hours {fault.rule.partition(';')[0]} ({fault.value})"
    return Finding("docks", fault.row, fault.name, problem, "mend opening_hours")


def _canonical(value: object) -> object:
    if isinstance(value, float):
        return None if value != value else value  # noqa: PLR0124  NaN alone differs from itself
    return value if value is None or isinstance(value, bool | int | str) else str(value)


def _add(total: Any, part: bytes) -> None:
    total.update(len(part).to_bytes(8, "big"))
    total.update(part)
