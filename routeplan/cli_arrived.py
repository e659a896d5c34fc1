"""A passage that is over, entered in the log: parsed, called and printed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from routeplan import edges
from routeplan.cli_fillup import open_for_writing

if TYPE_CHECKING:
    from pathlib import Path

    from routeplan.typed_finish import TypedFinish

__all__ = ["enter_passage"]


def enter_passage(typed: TypedFinish, path: Path, boat: Path | None, log: str | None, *, as_json: bool) -> None:
    """Enter a passage in the log, and note in the plan that it was.

    Parameters
    ----------
    typed
        What was typed.
    path
        The plan that was followed.
    boat
        Boat file, for a plan of an older form.
    log
        The log; None for the one that the plan names, or the default one.
    as_json
        Whether one document is printed.
    """
    import typer

    from layers.errors import InputError
    from routeplan.boats import read_boat
    from routeplan.finish_words import finish_document, tell_finished
    from routeplan.finishing import enter_finish
    from routeplan.saved_plans import read_plan, write_plan
    from routeplan.typed_finish import read_finish

    now = edges.now()
    saved = read_plan(path, None if boat is None else read_boat(boat))
    done = read_finish(typed, saved, now, saved.zone)
    with open_for_writing(saved.log if log is None else log) as logbook:
        finished = enter_finish(logbook, saved, done, now)
        where = logbook.where
    if as_json:
        edges.print_json(finish_document(finished, saved, where, now))
    else:
        edges.say(tell_finished(finished, saved, where, saved.zone))
    if saved.is_older:
        return
    try:
        write_plan(saved.model_copy(update={"closed": now}), path)
    except InputError as error:  # the log is what counts
        typer.echo(f"routeplan: the plan's file wasn't marked as closed: {error}", err=True)
