"""Find what a region can be made of: files of open formats, folders of them, and folders of S-57 cells.

Nothing in a folder is passed over without a word, archives aren't unpacked, and links that lead out of a folder aren't
followed.
"""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import ValidationError

from layers.about import ABOUT_NAME, read_about
from layers.about_guesses import NO_CURRENCY, NOT_STATED
from layers.build_report import PassedOver
from layers.csv_files import has_positions, read_csv_table
from layers.errors import InputError
from layers.files import describe, file_status, read_text
from layers.gpx_files import read_gpx_table
from layers.recipe import CELLS, SKIP, Recipe, RecipeSource
from layers.vector_files import ENDINGS, looks_like_shapes, read_vector_tables

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from layers.about import RegionAbout
    from layers.tables import SourceTable

    Box = tuple[float, float, float, float]

__all__ = ["add_sources", "cells_in", "read_tables"]

_TEXTS = (".csv", ".tsv", ".txt")
_ARCHIVES = (".7z", ".bz2", ".gz", ".kmz", ".rar", ".shz", ".tar", ".tgz", ".xz", ".zip")
_SHEETS = (".ods", ".xls", ".xlsb", ".xlsm", ".xlsx", ".numbers")
_PARTS = (".cpg", ".dbf", ".prj", ".qix", ".qmd", ".sbn", ".sbx", ".shx", ".xml")  # of a shapefile, read with it or not
_CELL = re.compile(r"\.\d{3}")
_ABOUT_BYTES = 1_000_000  # bytes of a region.toml
_MOST_FILES = 10_000  # in a folder: more is no folder of charts
_READABLE = "GeoJSON, GeoPackage, Shapefile, FlatGeobuf, KML, GPX, CSV, or S-57 cells (.000)"


def add_sources(recipe: Recipe, paths: Iterable[Path]) -> tuple[Recipe, tuple[PassedOver, ...]]:
    """Add files and folders to a recipe.

    Parameters
    ----------
    recipe
        The recipe.
    paths
        What to add; what the recipe has already is not added again.

    Returns
    -------
    tuple[Recipe, tuple[PassedOver, ...]]
        The recipe with an entry for each file, and for each folder of cells; and what was passed over in folders.

    Raises
    ------
    InputError
        A path isn't there, is of no format that is read here, or an archive; a folder has nothing that can be read.
    """
    passed: list[PassedOver] = []
    told: list[RegionAbout] = []
    sources = list(recipe.sources)
    known = {Path(os.path.realpath(source.file)) for source in sources}
    paths = list(paths)
    cells = {os.path.realpath(path) for path in paths if path.suffix == ".000"}
    for path in paths:
        base = path.with_suffix(".000")
        if _CELL.fullmatch(path.suffix) and path != base and os.path.realpath(base) in cells:
            passed.append(PassedOver(str(path), f"is an update of {base.name}, and is read with it"))
            continue
        about = _region_in(path)
        told += [about] if about else []
        for found in _expanded(path, passed):
            if Path(os.path.realpath(found.file)) not in known:
                known.add(Path(os.path.realpath(found.file)))
                sources.append(_as_region_says(found, about))
    if not sources:
        raise InputError(
            "SOURCE", "is missing: nothing to make a region of", remedy=f"name files or folders of {_READABLE}"
        )
    return recipe.model_copy(update={"sources": tuple(sources), **_said_of_all(recipe, told)}), tuple(passed)


def read_tables(source: RecipeSource, near: Box | None) -> list[SourceTable]:
    """Read the tables of one entry of a recipe.

    Parameters
    ----------
    source
        The entry; not one of S-57 cells.
    near
        [deg] What is of interest, if that is known; west, south, east, north.

    Returns
    -------
    list[SourceTable]
        As found.

    Raises
    ------
    InputError
        The file can't be read.
    """
    path = Path(source.file)
    _refuse_others(path)
    if source.as_ == SKIP and not source.layer:
        return []
    ending = path.suffix.lower()
    if ending in ENDINGS:
        return read_vector_tables(path, wanted=source.layer, crs=source.crs, near=near)
    if source.layer:
        raise InputError(str(path), f"is one table, and has no layer {source.layer!r}", remedy="leave layer out")
    if source.crs and source.crs.upper() != "EPSG:4326":
        problem = f"is of a format whose positions are WGS 84, and not {source.crs}"
        raise InputError(str(path), problem, remedy="leave crs out, or save it as another format")
    return [read_gpx_table(path) if ending == ".gpx" else read_csv_table(path)]


def cells_in(path: Path) -> tuple[tuple[Path, ...], tuple[PassedOver, ...]]:
    """List the S-57 cells of a folder, or the one that is named.

    Parameters
    ----------
    path
        A cell, or a folder of cells and their updates, in folders or not.

    Returns
    -------
    tuple[tuple[Path, ...], tuple[PassedOver, ...]]
        The cells; and what else is there.

    Raises
    ------
    InputError
        There are none, an update lacks its cell, or one of them is a link that leads out of the folder.
    """
    from layers.s57_cells import find_cells  # noqa: PLC0415  # only where there are cells

    if not path.is_dir():
        return find_cells(path), ()
    passed: list[PassedOver] = []
    files = list(_walk(path, passed))
    if any(file.suffix == ".000" for file in files):
        others = [file for file in files if not _CELL.fullmatch(file.suffix) or file.stem.upper() == "CATALOG"]
        passed += _counted(path, others)
    return tuple(cell for cell in find_cells(path) if cell in set(files)), tuple(passed)


def _expanded(path: Path, passed: list[PassedOver]) -> list[RecipeSource]:
    file_status(path)
    if not path.is_dir():
        _refuse_others(path)
        return [_entry(path, CELLS if path.suffix == ".000" else None)]
    below: list[PassedOver] = []
    files = list(_walk(path, below))
    if any(file.suffix == ".000" for file in files):  # `cells_in` tells the rest of it
        readable = [file for file in files if _is_readable(file) and not _is_note(file)]
        passed += [PassedOver(str(file), "lies in a folder of cells: name it itself to use it") for file in readable]
        return [_entry(path, CELLS)]
    passed += below
    here = [file for file in files if file.parent == path]
    good = [file for file in here if _is_readable(file) and not _is_note(file)]
    if not good:
        problem = "is a folder with nothing in it that can be read here"
        raise InputError(str(path), problem, remedy=f"it takes {_READABLE}")
    for file, why in [(file, why) for file in good if (why := _no_layer(file))]:
        good.remove(file)
        files.remove(file)
        passed.append(PassedOver(str(file), why))
    shapefiles = {file.stem for file in good if file.suffix.lower() == ".shp"}
    for file in files:
        part = file.stem.removesuffix(".shp") in shapefiles and file.suffix.lower() in _PARTS
        if file not in good and not part:
            passed.append(PassedOver(str(file), _why_not(file, path)))
    return [_entry(file) for file in good]


def _region_in(folder: Path) -> RegionAbout | None:
    """Read what a folder that is a region says of itself."""
    file = folder / ABOUT_NAME
    return read_about(read_text(file, _ABOUT_BYTES), str(folder)) if file.is_file() else None


def _as_region_says(source: RecipeSource, about: RegionAbout | None) -> RecipeSource:
    """Let a region's layer keep where it comes from."""
    origin = about.sources.get(Path(source.file).stem) if about else None
    return source if origin is None else source.model_copy(update=origin.model_dump())


def _said_of_all(recipe: Recipe, told: list[RegionAbout]) -> dict[str, str]:
    """Take over what regions say of themselves, where a recipe doesn't, and they don't contradict one another."""
    said = {}
    for key in ("time_zone", "currency", "chart_datum", "clearance_datum"):
        values = {getattr(about, key) for about in told} - {NO_CURRENCY, NOT_STATED}
        if len(values) == 1 and getattr(recipe, key) is None:
            said[key] = values.pop()
    return said


def _entry(path: Path, kind: str | None = None) -> RecipeSource:
    try:
        return RecipeSource(file=str(path), as_=kind)
    except ValidationError as error:
        problem = "has a name that is too long, or has control characters in it"
        raise InputError(repr(str(path)), problem, remedy="rename it") from error


def _no_layer(file: Path) -> str:
    """Say why a file of a folder, of a format for anything, can be no layer; empty where it can."""
    if file.suffix.lower() in _TEXTS and not has_positions(file):
        return "has no columns that say where places are"
    if file.suffix.lower() == ".json" and not looks_like_shapes(file):
        return "is JSON, but no GeoJSON"
    return ""


def _why_not(file: Path, folder: Path) -> str:
    if file.parent != folder:
        return "lies in a folder below"
    if file.name == ABOUT_NAME:
        return "says of its layers where they come from, and of datums, time zone and currency: that is taken over"
    return "is of no format that is read here"


def _is_readable(path: Path) -> bool:
    return path.suffix.lower() in (*ENDINGS, *_TEXTS, ".gpx")


def _is_note(path: Path) -> bool:
    """Tell whether a file of text is one for people to read, as exchange sets bring along."""
    return path.suffix.lower() == ".txt"


def _refuse_others(path: Path) -> None:
    ending = path.suffix.lower()
    if ending in _ARCHIVES:
        raise InputError(
            str(path), "is an archive, and none is opened here", remedy="unpack it first, and name what is in it"
        )
    if ending in _PARTS and path.with_suffix(".shp").exists():
        raise InputError(str(path), "is one part of a shapefile", remedy=f"name {path.with_suffix('.shp').name}")
    if ending in _SHEETS:
        raise InputError(
            str(path), "is a workbook, and none is read here", remedy="save its sheet as CSV, and name that"
        )
    if _CELL.fullmatch(path.suffix) and path.suffix != ".000":
        cell = path.with_suffix(".000")
        problem = f"is an update of {cell.name}{'' if cell.exists() else ', which is not beside it'}"
        raise InputError(str(path), problem, remedy=f"name {cell.name}, or the folder: its updates are read with it")
    if ending == ".toml":
        raise InputError(str(path), "is no source", remedy="a recipe is named by --recipe")
    if not _is_readable(path) and not _CELL.fullmatch(path.suffix):
        raise InputError(str(path), "is of no format that is read here", remedy=f"it takes {_READABLE}")


def _counted(folder: Path, others: list[Path]) -> list[PassedOver]:
    if not others:
        return []
    names = ", ".join(file.name for file in others[:3]) + (", ..." if len(others) > 3 else "")
    count = f"{len(others):,} other file{'' if len(others) == 1 else 's'}"
    return [PassedOver(str(folder), f"{count} beside the cells: {names}")]


def _walk(folder: Path, passed: list[PassedOver]) -> Iterator[Path]:
    """Yield the files of a folder and of those below; links that lead out of it are told, and not followed."""
    root = Path(os.path.realpath(folder))
    count = 0

    def stop(error: OSError) -> None:
        raise InputError(str(error.filename or folder), f"can't be read: {describe(error)}") from error

    for place, below, names in os.walk(folder, onerror=stop):
        below.sort()
        for name in [*below, *sorted(names)]:
            path = Path(place) / name
            if path.is_symlink() and not Path(os.path.realpath(path)).is_relative_to(root):
                if _CELL.fullmatch(path.suffix):
                    problem = "is a link that leads out of its folder, and no such is followed"
                    raise InputError(str(path), problem, remedy="copy the file, or name its own folder")
                passed.append(PassedOver(str(path), "is a link that leads out of its folder: not followed"))
            elif name in names:
                count += 1
                if count > _MOST_FILES:
                    problem = f"has more than {_MOST_FILES:,} files"
                    raise InputError(str(folder), problem, remedy="name the folder of the charts themselves")
                yield path
