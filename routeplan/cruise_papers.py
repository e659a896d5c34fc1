"""The papers of a cruise in one folder: for the organiser, and for each boat her sheet, her route and her plan."""

from __future__ import annotations

import contextlib
import re
from typing import TYPE_CHECKING

from layers.files import replaced_file
from layers.route_files import route_text
from layers.short_names import plain_letters
from routeplan.crews import Crew
from routeplan.cruise_page import build_cruise_page
from routeplan.cruise_tables import calls_csv, fills_csv, roll_csv, timeline_csv
from routeplan.helm_marks import find_helm, start_meter
from routeplan.plan_routes import route_of
from routeplan.saved_plans import keep_plan, write_plan
from routeplan.sheet_page import build_sheet
from routeplan.teaching import without_log

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime
    from pathlib import Path

    from routeplan.cruise import Cruise
    from routeplan.cruise_words import CruiseWords
    from routeplan.sheet_style import Paper

__all__ = ["file_names", "write_papers"]

_MOST_LETTERS = 40  # of a boat's name in the name of a file


def write_papers(
    folder: Path,
    answer: Cruise,
    words: CruiseWords,
    now: datetime,
    region: Path,
    paper: Paper,
    document: str,
    page: str,
) -> None:
    """Write all papers of a cruise, or none.

    Parameters
    ----------
    folder
        Where they go; made where it is missing.
    answer
        The cruise.
    words
        What is said of it.
    now
        The clock.
    region
        Where the region is, for the boats' saved plans.
    paper
        What sheets are printed on.
    document
        What `cruise --json` prints.
    page
        The map.

    Raises
    ------
    InputError
        One of them can't be written.
    """
    texts: dict[str, str] = {
        "cruise.html": build_cruise_page(words, paper),
        "cruise.json": document,
        "map.html": page,
        "timeline.csv": timeline_csv(words),
        "fills.csv": fills_csv(words),
        "calls.csv": calls_csv(words),
        "roll.csv": roll_csv(words),
    }
    names = file_names([one.boat.boat for one in answer.told])
    with contextlib.ExitStack() as drafts:
        for one, asked, name in zip(answer.told, answer.asked.boats, names, strict=True):
            passage = one.passage
            helm = find_helm(passage, passage.recommended, start_meter(without_log(passage.boat), None))
            where = (str(region.absolute()), asked.file, None)
            saved = keep_plan(passage, helm, now, files=where, boat_digest=asked.boat.digest)
            texts[f"boats/{name}.html"] = build_sheet(saved, answer.region, Crew(people=asked.people), paper)
            texts[f"boats/{name}.gpx"] = route_text(route_of(saved, answer.region), folder / f"{name}.gpx")
            write_plan(saved, drafts.enter_context(replaced_file(folder / "boats" / f"{name}.json")))
        for name, text in texts.items():
            draft = drafts.enter_context(replaced_file(folder / name))
            draft.write_text(text, encoding="utf-8", newline="")


def file_names(boats: Sequence[str]) -> tuple[str, ...]:
    """Make a file's name of each boat's: letters and digits of ASCII, no two alike.

    Parameters
    ----------
    boats
        Their names.

    Returns
    -------
    Names without an ending.

    Examples
    --------
    >>> file_names(["Half Promise", "half  promise!", "\u00c5sa"])
    ('half-promise', 'half-promise-2', 'asa')
    """
    found: list[str] = []
    for name in boats:
        plain = re.sub(r"[^a-z0-9]+", "-", plain_letters(name).lower()).strip("-")[:_MOST_LETTERS] or "boat"
        name_of_file, number = plain, 2
        while name_of_file in found:
            name_of_file, number = f"{plain}-{number}", number + 1
        found.append(name_of_file)
    return tuple(found)
