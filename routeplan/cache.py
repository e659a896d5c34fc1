"""Arrays kept on disk under a hash of all that they depend on.

An entry is a folder: one `.npy` per array and a `meta.json` that holds each file's checksum. It is written beside its
place and moved there whole. What doesn't match its checksum is thrown away and built again; nothing is ever unpickled.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import re
import shutil
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

__all__ = ["cache_folder", "cache_key", "load_arrays", "store_arrays"]

_FORMAT = 1
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
            content = (entry / f"{name}.npy").read_bytes()
            if hashlib.sha256(content).hexdigest() != checksum:
                return None
            arrays[name] = np.load(io.BytesIO(content), allow_pickle=False)
        if meta["key"] != key or hashlib.sha256(_canonical(meta["data"])).hexdigest() != meta["data_checksum"]:
            return None
        os.utime(entry / "meta.json")  # used last: forgotten last
    except (OSError, ValueError, KeyError, TypeError, AttributeError, EOFError, RecursionError):
        return None
    return arrays, meta["data"]


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
        with tempfile.TemporaryDirectory(dir=folder, prefix="new-") as made:
            entry = Path(made) / key
            entry.mkdir()
            checksums = {}
            for name, array in arrays.items():
                path = entry / f"{name}.npy"
                np.save(path, np.ascontiguousarray(array), allow_pickle=False)
                checksums[name] = hashlib.sha256(path.read_bytes()).hexdigest()
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


def _canonical(data: Any) -> bytes:
    return json.dumps(data, sort_keys=True, allow_nan=False).encode()
