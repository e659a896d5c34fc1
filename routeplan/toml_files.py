"""One TOML file from disk to a plain mapping; whatever is wrong with the file is one clear line."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

from layers.errors import InputError

if TYPE_CHECKING:
    import os

__all__ = ["TOML_LIMIT_BYTES", "read_toml"]

TOML_LIMIT_BYTES = 262_144  # bytes, 256 KiB: a hundred times the longest boat file; a mistaken file is refused unread


def read_toml(path: str | os.PathLike[str], what: str) -> dict[str, Any]:
    """Read a TOML file.

    Parameters
    ----------
    path
        The file.
    what
        What it should be, as an error names it: ``boat file``.

    Returns
    -------
    Its keys and values, not empty.

    Raises
    ------
    InputError
        The file is missing, a folder, unreadable, empty, over the limit of 256 KiB, binary, not UTF-8 or not TOML.
    """
    where = str(path)
    content = _read_bytes(Path(path), where, what)
    if len(content) > TOML_LIMIT_BYTES:
        problem = f"is over the limit of {TOML_LIMIT_BYTES // 1024} KiB for a {what}"
        raise InputError(where, problem, remedy="is this the right file?")
    if b"\x00" in content:
        raise InputError(where, f"holds binary data, and a {what} is TOML text", remedy="is this the right file?")
    try:
        text = content.decode("utf-8-sig")  # editors on Windows put a byte order mark in front
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise InputError(where, f"is not UTF-8 text, from line {line} on", remedy="save it again as UTF-8") from error
    if not text.strip():
        raise InputError(where, f"is empty, and a {what} is TOML text")
    try:
        document = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # ValueError: TOMLDecodeError, or far too many digits
        said = "nested too deeply" if isinstance(error, RecursionError) else str(error)
        raise InputError(where, f"is not valid TOML: {said}") from error
    if not document:
        raise InputError(where, f"holds no keys, and a {what} needs some")
    return document


def _read_bytes(path: Path, where: str, what: str) -> bytes:
    try:
        if path.is_dir():
            raise InputError(where, f"is a folder, and a {what} is one file", remedy="name the .toml file in it")
        if path.exists() and not path.is_file():
            raise InputError(where, f"is not an ordinary file, and a {what} is one")
        with path.open("rb") as file:
            return file.read(TOML_LIMIT_BYTES + 1)
    except FileNotFoundError as error:
        raise InputError(where, f"there is no such {what}", remedy="check the path") from error
    except (OSError, ValueError) as error:  # ValueError: a NUL in the path
        said = getattr(error, "strerror", None) or str(error)
        raise InputError(where, f"can't be read: {said.lower()}") from error
