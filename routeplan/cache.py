"""Arrays kept on disk under a hash of all that they depend on.

An entry is a folder: one `.npy` per array and a `meta.json` that holds each file's checksum. It is written beside its
place and moved there whole. What doesn't match its checksum is thrown away and built again; nothing is ever unpickled.
Arrays are mapped into memory and read only.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import shutil
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

__all__ = ["cache_folder", "cache_key", "load_arrays", "store_arrays"]

_FORMAT = 1
_DRAFT = "new-"
_DRAFT_AGE_S = 86_400  # [s] a draft that old is nobody's
_MOST_ENTRIES = 30  # a few boats, margins and seasons in a few regions; 5 MB each for the demo


def cache_folder() -> Path:
    """Tell where built networks are kept.

    Returns
    -------
    The folder named by ROUTEPLAN_CACHE, else the user's cache folder.
    """
    named = os.environ.get("ROUTEPLAN_CACHE")
    if named:
        return Path(named)
    import platformdirs  # noqa: PLC0415  # asks the platform, needed only here

    return Path(platformdirs.user_cache_dir("routeplan", appauthor=False))


def cache_key(**depends: Any) -> str:
    """Hash everything that an entry depends on.

    Parameters
    ----------
    **depends
        JSON-able values.

    Returns
    -------
    64 hexadecimal digits.
    """
    text = json.dumps({"format": _FORMAT, **depends}, sort_keys=True, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


def load_arrays(folder: Path, key: str) -> tuple[dict[str, NDArray[Any]], dict[str, Any]] | None:
    """Load an entry.

    Parameters
    ----------
    folder
        Cache folder.
    key
        The entry's key.

    Returns
    -------
    Arrays by name and the entry's other data; None where there is no such entry or it isn't what was stored.
    """
    entry = folder / key
    try:
        meta = json.loads((entry / "meta.json").read_text(encoding="utf-8"))
        arrays = {}
        for name, checksum in meta["arrays"].items():
            if not re.fullmatch(r"[a-z0-9_-]+", name):  # a name must not lead out of the entry
                return None
            path = entry / f"{name}.npy"
            with path.open("rb") as content:
                if hashlib.file_digest(content, "sha256").hexdigest() != checksum:
                    return None
            arrays[name] = _mapped(path)
        if meta["key"] != key or hashlib.sha256(_canonical(meta["data"])).hexdigest() != meta["data_checksum"]:
            return None
        os.utime(entry / "meta.json")  # used last: forgotten last
    except (OSError, ValueError, KeyError, TypeError, AttributeError, EOFError, RecursionError):
        return None
    return arrays, meta["data"]


def _mapped(path: Path) -> NDArray[Any]:
    """Map an array into memory; an empty one, which can't be mapped, is read."""
    with path.open("rb") as content:
        np.lib.format.read_magic(content)
        shape, _, _ = np.lib.format.read_array_header_1_0(content)
    return np.load(path, mmap_mode="r" if 0 not in shape else None, allow_pickle=False)  # type: ignore[no-any-return]


def store_arrays(folder: Path, key: str, arrays: Mapping[str, NDArray[Any]], data: Mapping[str, Any]) -> None:
    """Store an entry, or leave things as they were where the disk won't have it.

    Parameters
    ----------
    folder
        Cache folder; made if missing.
    key
        The entry's key.
    arrays
        Arrays of plain numbers.
    data
        JSON-able rest.
    """
    with contextlib.suppress(OSError):
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=folder, prefix=_DRAFT) as made:
            entry = Path(made) / key
            entry.mkdir()
            checksums = {}
            for name, array in arrays.items():
                path = entry / f"{name}.npy"
                np.save(path, np.ascontiguousarray(array), allow_pickle=False)
                with path.open("rb") as content:
                    checksums[name] = hashlib.file_digest(content, "sha256").hexdigest()
            meta = {
                "key": key,
                "arrays": checksums,
                "data": data,
                "data_checksum": hashlib.sha256(_canonical(data)).hexdigest(),
            }
            (entry / "meta.json").write_text(json.dumps(meta, allow_nan=False), encoding="utf-8")
            shutil.rmtree(folder / key, ignore_errors=True)
            entry.replace(folder / key)
        _forget_oldest(folder)


def _forget_oldest(folder: Path) -> None:
    """Keep the entries that were used last."""
    used = sorted(folder.glob("*/meta.json"), key=lambda meta: meta.stat().st_mtime, reverse=True)
    for meta in used[_MOST_ENTRIES:]:
        shutil.rmtree(meta.parent, ignore_errors=True)
    for left in folder.glob(f"{_DRAFT}*"):  # of a program that was killed
        if time.time() - left.stat().st_mtime > _DRAFT_AGE_S:
            shutil.rmtree(left, ignore_errors=True)


def _canonical(data: Any) -> bytes:
    return json.dumps(data, sort_keys=True, allow_nan=False).encode()
