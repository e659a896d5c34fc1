"""Which saved plan is followed: the one that is named, or the one that was saved last on this computer."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from layers.errors import InputError
from layers.files import read_text, replaced_file

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["followed_plan", "note_plan"]

_POINTER = "plan-saved-last.txt"
_LARGEST_BYTES = 10_000  # a path


def followed_plan(environ: Mapping[str, str] | None = None) -> Path:
    """Tell which plan is followed where none is named.

    Parameters
    ----------
    environ
        Environment variables; None for those of this process.

    Returns
    -------
    What ROUTEPLAN_PLAN names, else the plan that was saved last.

    Raises
    ------
    InputError
        None was saved yet, or it is gone.

    Examples
    --------
    >>> str(followed_plan({"ROUTEPLAN_PLAN": "saturday.json"}))
    'saturday.json'
    """
    named = (os.environ if environ is None else environ).get("ROUTEPLAN_PLAN")
    if named:
        return Path(named)
    pointer = _pointer()
    if not pointer.exists():
        remedy = "add --plan FILE.json, or save one: routeplan passage ... --save FILE.json"
        raise InputError("--plan", "no plan was saved on this computer yet", remedy=remedy)
    path = Path(read_text(pointer, _LARGEST_BYTES).strip())
    if not path.exists():
        raise InputError(
            "--plan", "the plan that was saved last is gone", value=str(path), remedy="add --plan FILE.json"
        )
    return path


def note_plan(path: Path, environ: Mapping[str, str] | None = None) -> None:
    """Note that a plan was saved, so that it is followed from now on.

    Parameters
    ----------
    path
        The file.
    environ
        Environment variables; None for those of this process. Where ROUTEPLAN_PLAN names a plan nothing is noted.

    Raises
    ------
    InputError
        The note can't be written.
    """
    if (os.environ if environ is None else environ).get("ROUTEPLAN_PLAN"):
        return
    with replaced_file(_pointer()) as draft:
        draft.write_text(f"{path.resolve()}\n", encoding="utf-8")


def _pointer() -> Path:
    import platformdirs  # noqa: PLC0415  # asks the platform, needed only here

    return Path(platformdirs.user_data_path("routeplan", appauthor=False)) / _POINTER
