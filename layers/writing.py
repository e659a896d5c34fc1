"""Write regions and layers: whole, or not at all."""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

from layers.about import ABOUT_NAME, write_about
from layers.errors import InputError
from layers.files import describe, replaced_file
from layers.geojson import write_geojson
from layers.geopackage import has_about, write_geopackage
from layers.schema import COMPUTED, LAYERS

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    import geopandas as gpd

    from layers.region import Region

__all__ = ["check_target", "write_layers", "write_region"]

_FILE_ENDINGS = (".csv", ".fgb", ".geojson", ".gpx", ".json", ".kml", ".shp", ".sqlite", ".toml", ".zip")


def write_region(region: Region, path: str | os.PathLike[str]) -> None:
    """Write a region to a folder or a GeoPackage.

    Parameters
    ----------
    region
        The region; its absent layers stay absent.
    path
        A GeoPackage where it ends in ``.gpkg``, else a folder; folders on the way are made. An old region there is
        replaced, other files in the folder stay.

    Raises
    ------
    InputError
        It can't be written there; what was there before is still there, whole.

    Notes
    -----
    A new folder and a GeoPackage appear by one renaming. In a folder that exists, all files are written beside the
    old ones first; then ``region.toml`` is taken away, the layers are exchanged, and the new ``region.toml`` comes
    last: a folder in which that was cut short is no region, and never a mixture of two.
    """
    layers = {name: frame for name, frame in region.frames.items() if name in region.present}
    about = write_about(region.about)
    target = Path(path)
    if target.suffix.lower() == ".gpkg":
        with _translated(target), replaced_file(target) as draft:
            write_geopackage(draft, layers, LAYERS, about)
        return
    files = {f"{name}.geojson": write_geojson(frame, LAYERS[name]) for name, frame in layers.items()}
    obsolete = [f"{name}.geojson" for name in LAYERS if name not in layers]
    _write_folder(target, {**files, ABOUT_NAME: about}, obsolete)


def check_target(path: str | os.PathLike[str], *, replace: bool) -> None:
    """Refuse to build a region where something else lies.

    Parameters
    ----------
    path
        Where a region is to be written: a folder, or a GeoPackage.
    replace
        Whether a region that is there may be replaced.

    Raises
    ------
    InputError
        Something that is no region is there; or a region is, and isn't to be replaced.
    """
    target = Path(path)
    what = "a GeoPackage" if target.suffix.lower() == ".gpkg" else "a folder"
    if what == "a folder" and target.suffix.lower() in _FILE_ENDINGS:
        raise InputError(str(path), "is the name of a file", remedy="give a folder, or a file that ends in .gpkg")
    with _translated(target):
        if not target.exists() and not target.is_symlink():
            return
        if target.is_dir() and not any(target.iterdir()):
            return
        if target.is_dir() != (what == "a folder"):
            problem = "is a folder, not a GeoPackage" if target.is_dir() else "is a file, not a folder"
            raise InputError(str(path), problem, remedy="choose another name")
        ours = (target / ABOUT_NAME).is_file() if target.is_dir() else has_about(target)
    if not ours:
        raise InputError(str(path), f"is {what} that holds something else than a region", remedy="choose another name")
    if not replace:
        raise InputError(str(path), "holds a region already", remedy="choose another name, or add --replace")


def write_layers(layers: Mapping[str, gpd.GeoDataFrame], path: str | os.PathLike[str]) -> None:
    """Write computed layers for a GIS.

    Parameters
    ----------
    layers
        Layers of `layers.COMPUTED` or `layers.LAYERS` by name, in the form of their schemas.
    path
        A GeoPackage where it ends in ``.gpkg``, else a folder for GeoJSON files; folders on the way are made.

    Raises
    ------
    InputError
        A layer is unknown, or the path can't be written.
    """
    schemas = {**LAYERS, **COMPUTED}
    unknown = [name for name in layers if name not in schemas]
    if unknown:
        raise InputError("layer", "is unknown", value=unknown[0])
    target = Path(path)
    if target.suffix.lower() == ".gpkg":
        with _translated(target), replaced_file(target) as draft:
            write_geopackage(draft, layers, schemas)
        return
    files = {f"{name}.geojson": write_geojson(frame, schemas[name]) for name, frame in layers.items()}
    _write_folder(target, files, [])


def _write_folder(target: Path, files: Mapping[str, str], obsolete: list[str]) -> None:
    """Write files into a folder, the last of `files` last of all."""
    if target.suffix.lower() in _FILE_ENDINGS:
        raise InputError(str(target), "is the name of a file", remedy="give a folder, or a file that ends in .gpkg")
    with _translated(target):
        folder = target.resolve()
        if folder.exists() and not folder.is_dir():
            raise InputError(str(target), "is a file, not a folder", remedy="give a folder, or a file ending in .gpkg")
        fresh = not folder.exists()
        if fresh:
            folder.parent.mkdir(parents=True, exist_ok=True)
        draft = (folder.parent if fresh else folder) / f".{folder.name[:50]}.{secrets.token_hex(8)}"
        try:
            draft.mkdir()
            for name, text in files.items():
                _write_durably(draft / name, text)
            if fresh:
                draft.rename(folder)
            else:
                _exchange(draft, folder, list(files), obsolete)
        finally:
            shutil.rmtree(draft, ignore_errors=True)


def _exchange(draft: Path, folder: Path, names: list[str], obsolete: list[str]) -> None:
    """Put the files of a draft into a folder; on failure put the old ones back."""
    old = draft / "old"
    old.mkdir()
    try:
        for name in [*names[-1:], *names[:-1], *obsolete]:  # what makes it a region goes first and comes last
            if (folder / name).is_symlink() or (folder / name).exists():
                (folder / name).rename(old / name)
        for name in names:
            (draft / name).rename(folder / name)
    except BaseException:  # a Ctrl-C too: what was moved is seen by where it lies, whenever it came
        with contextlib.suppress(OSError):
            for name in names:
                if not (draft / name).exists():
                    (folder / name).unlink(missing_ok=True)
            for name in [*names[:-1], *obsolete, *names[-1:]]:
                if (old / name).is_symlink() or (old / name).exists():
                    (old / name).rename(folder / name)
        raise


def _write_durably(path: Path, text: str) -> None:
    with path.open("w", encoding="utf-8", newline="\n") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())


@contextlib.contextmanager
def _translated(target: Path) -> Iterator[None]:
    try:
        yield
    except (OSError, RuntimeError, ValueError) as error:  # a loop of links, a NUL in the name
        reason = describe(error) if isinstance(error, OSError) else str(error)
        raise InputError(str(target), f"can't be written: {reason}", remedy="choose another folder") from error
