"""Which saved plan is followed: the one that is named, or the one that was saved last on this computer."""

from __future__ import annotations

import contextlib
import os
import time
from pathlib import Path
from typing import TYPE_CHECKING

from layers.errors import InputError
from layers.files import describe, file_status, read_text, replaced_file
from routeplan.saved_plans import MOST_REPORTS, read_plan, write_plan

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from routeplan.saved_plans import Report

__all__ = ["followed_plan", "note_plan", "note_report"]

_POINTER = "plan-saved-last.txt"
_PATIENCE_S, _FORGOTTEN_S = 5.0, 30.0  # s: for a write that takes some milliseconds
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
    try:
        file_status(path)
    except InputError as error:
        problem = "the plan that was saved last is gone"
        raise InputError("--plan", problem, value=str(path)[:200], remedy="add --plan FILE.json") from error
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


def note_report(path: Path, report: Report) -> None:
    """Note a report in a plan's file, whoever else notes one meanwhile.

    Parameters
    ----------
    path
        The plan's file.
    report
        The report; one of the same moment is replaced by it.

    Raises
    ------
    InputError
        The file can't be read or written, or somebody else keeps it.
    """
    with _alone(path):
        saved = read_plan(path)
        kept = [one for one in saved.reports if one.when < report.when]
        while len(kept) >= MOST_REPORTS:  # the oldest that only say where she was can go
            plain = next((i for i, one in enumerate(kept) if not (one.filled or one.took_l or one.was_l)), 0)
            del kept[plain]
        write_plan(saved.model_copy(update={"reports": (*kept, report)}), path)


@contextlib.contextmanager
def _alone(path: Path) -> Iterator[None]:
    """Keep others from writing to a file, by a file beside it."""
    lock = path.with_name(f".{path.name[:80]}.lock")
    until = time.monotonic() + _PATIENCE_S
    while True:
        try:
            os.close(os.open(lock, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
            break
        except FileExistsError as error:
            with contextlib.suppress(OSError):
                if time.time() - lock.stat().st_mtime > _FORGOTTEN_S:  # whoever made it is gone
                    lock.unlink()
                    continue
            if time.monotonic() > until:
                problem = "is being written by somebody else"
                raise InputError(str(path), problem, remedy=f"try again, or remove {lock}") from error
            time.sleep(0.05)
        except OSError as error:
            raise InputError(str(path), f"can't be written: {describe(error)}") from error
    try:
        yield
    finally:
        with contextlib.suppress(OSError):
            lock.unlink()


def _pointer() -> Path:
    import platformdirs  # noqa: PLC0415  # asks the platform, needed only here

    return Path(platformdirs.user_data_path("routeplan", appauthor=False)) / _POINTER
