"""Writing what was asked for: whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from layers.errors import InputError

__all__ = ["make_folder", "write_text"]


def make_folder(path: Path, where: str) -> None:
    """Make sure that a folder is there and can be written to.

    Parameters
    ----------
    path
        The folder.
    where
        The option that named it.

    Raises
    ------
    InputError
        It is a file, or can't be made or written to.
    """
    try:
        path.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=path):
            pass
    except OSError as error:
        raise InputError(
            where, f"can't be written to: {error.strerror}", value=str(path), remedy="choose another"
        ) from error


def write_text(path: Path, text: str, where: str) -> None:
    """Write a text file beside its place and move it there.

    Parameters
    ----------
    path
        The file.
    text
        What it is to hold.
    where
        The option that named it.

    Raises
    ------
    InputError
        It can't be written; what was there before is still there.
    """
    draft = ""
    try:
        handle, draft = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
        Path(draft).chmod(0o644)
        Path(draft).replace(path)
    except OSError as error:
        if draft:
            Path(draft).unlink(missing_ok=True)
        raise InputError(
            where, f"can't be written: {error.strerror}", value=str(path), remedy="choose another"
        ) from error
