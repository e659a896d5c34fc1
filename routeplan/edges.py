"""Where commands meet the world: the clock, what they print, and the options that several of them take."""

from __future__ import annotations

import json
import os
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from layers.errors import InputError

__all__ = [
    "BoatOption",
    "JsonOption",
    "LogOption",
    "MapOption",
    "RegionOption",
    "named",
    "now",
    "print_json",
    "say",
]

RegionOption = Annotated[Path, typer.Option("--region", help="Region: a folder with region.toml, or a GeoPackage.")]
BoatOption = Annotated[Path, typer.Option("--boat", envvar="ROUTEPLAN_BOAT", help="Boat file (TOML).")]
LogOption = Annotated[
    str | None,
    typer.Option(
        "--log",
        envvar="ROUTEPLAN_LOG",
        help="Log of fill-ups: a file, or postgresql://...; default one in your data folder.",
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON document, and nothing else.")]
MapOption = Annotated[
    Path | None, typer.Option("--map", help="Write a map to this HTML file; it opens with no network.")
]


def now() -> datetime:
    """Return the moment by the computer's clock.

    Returns
    -------
    In UTC.
    """
    return datetime.now(UTC)


def say(text: str) -> None:
    """Print to a reader who may have left (`| head`), or onto a disk that may be full.

    Parameters
    ----------
    text
        What to print on stdout.

    Raises
    ------
    InputError
        It can't be written.
    """
    try:
        print(text, flush=True)
    except BrokenPipeError as error:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise typer.Exit(0) from error
    except OSError as error:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise InputError("standard output", f"can't be written: {error.strerror}") from error


def print_json(document: dict[str, Any], *, compact: bool = False) -> None:
    """Print the one document of a command.

    Parameters
    ----------
    document
        Plain values; no NaN or infinity.
    compact
        Whether all is one line: a document of shapes would else be mostly blanks.
    """
    say(json.dumps(document, indent=None if compact else 1, allow_nan=False))


def named(path: Path, option: str) -> Path:
    """Refuse an empty path, which would be taken for the folder that we are in.

    Parameters
    ----------
    path
        As given.
    option
        Where it was given.

    Returns
    -------
    The path.

    Raises
    ------
    InputError
        It is empty.
    """
    if path == Path():
        raise InputError(option, "names no file", remedy="give it a name")
    return path
