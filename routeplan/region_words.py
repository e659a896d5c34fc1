"""What `region build` tells: what was understood of each source, what was guessed, mended, left out and is missing."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from layers.column_guesses import OWN_NAME
from routeplan.console import holding_lines, source_lines, table, wrapped
from routeplan.documents import region_document

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from layers import BuildReport, Built, Repair, SourceGuess, TableReport
    from layers.build_report import Unsaid

__all__ = ["build_document", "guess_document", "tell_built", "tell_guesses"]

_MOST_LINES = 12  # mended shapes and findings told one by one; the rest is counted, and --json has all


def tell_built(built: Built, out: Path, *, wrote: bool) -> str:
    """Tell how a region was put together.

    Parameters
    ----------
    built
        The region and its report.
    out
        Where it was written.
    wrote
        Whether it was.

    Returns
    -------
    Text of several lines.
    """
    report, about = built.report, built.region.about
    lines = []
    for told in report.tables:
        lines += [*_table_lines(told), ""]
    lines += _cell_lines(report)
    lines += _passed_lines(report)
    lines += _repair_lines(report.repairs)
    done = f"{about.name}, written to {out}" if wrote else f"{about.name}, not written"
    lines += [f"{done}:", *holding_lines(built.region)]
    why = [f"{_KEYS[key]}: {reason}" for key, reason in report.said.items() if reason != "as given"]
    lines += [wrapped(f"Not given: {'; '.join(why)}.")] if why else []
    if report.cautions:
        lines += ["", "Look at this first:", *(wrapped(f"- {caution}", "  ") for caution in report.cautions)]
    absent = [f"{doubt.layer} ({doubt.problem.removeprefix('the layer is absent: ')})" for doubt in report.missing]
    lines += ["", wrapped(f"Missing: {'; '.join(absent)}.")] if absent else []
    lines += source_lines(built.region)
    lines += ["", *_finding_lines(report)]
    return "\n".join([*lines, "", *_next_lines(built, out)] if wrote else lines)


def tell_guesses(guesses: Sequence[SourceGuess], recipe: str, unsaid: Sequence[Unsaid] = ()) -> str:
    """Tell what sources were taken for, without a region.

    Parameters
    ----------
    guesses
        One a table.
    recipe
        The whole of it as a recipe.
    unsaid
        Sources of which nothing tells what they are.

    Returns
    -------
    Text of several lines, what is left for a person to say first.
    """
    asked = [f"{each.where}: {each.problem}: {each.remedy}" for each in unsaid]
    asked += [f"{guess.where}, {note}" for guess in guesses for note in guess.unsaid]
    lines = ["For you to say, in the recipe; no region is built before:"] if asked else []
    lines += [*(wrapped(f"- {line}", "  ") for line in asked), *([""] if asked else [])]
    for guess in guesses:
        lines += [*_guess_lines(guess, ""), ""]
    return "\n".join([*lines, "As a recipe, to be changed where it is wrong:", "", recipe.rstrip()])


def build_document(built: Built, out: Path, *, wrote: bool) -> dict[str, Any]:
    """Tell how a region was put together, as one document.

    Parameters
    ----------
    built
        The region and its report.
    out
        Where it was written.
    wrote
        Whether it was.

    Returns
    -------
    What `region build --json` prints.
    """
    report = built.report
    return {
        **region_document(built.region, report.findings),
        "schema": "routeplan/region-build/1",
        "out": str(out),
        "written": wrote,
        "tables": [
            {**guess_document(told.guess), "rows": told.rows, "used": told.used, "notes": list(told.notes)}
            for told in report.tables
        ],
        "cells": [asdict(account) for account in report.cells],
        "passed_over": [{"where": passed.where, "why": passed.why} for passed in report.passed_over],
        "repairs": [
            {
                "layer": repair.layer,
                "where": repair.where,
                "row": repair.row,
                "name": repair.name,
                "problem": repair.problem,
                "before_m2": round(repair.before_m2, 1),
                "after_m2": round(repair.after_m2, 1),
            }
            for repair in report.repairs
        ],
        "from": dict(report.said),
        "cautions": list(report.cautions),
        "missing": [{"layer": doubt.layer, "problem": doubt.problem} for doubt in report.missing],
    }


def guess_document(guess: SourceGuess) -> dict[str, Any]:
    """Tell what a table was taken for, as a document.

    Parameters
    ----------
    guess
        The guess.

    Returns
    -------
    Plain values.
    """
    return {
        "where": guess.where,
        "as": guess.source.as_,
        "why": guess.why,
        "columns": [
            {"ours": c.ours, "theirs": c.theirs, "unit": c.unit, "why": c.why, "unit_assumed": c.unit_assumed}
            for c in guess.columns
        ],
        "unused": list(guess.unused),
        "assumed": list(guess.assumed),
        "unsaid": list(guess.unsaid),
    }


_KEYS = {
    "name": "name",
    "extent": "extent",
    "time_zone": "time zone",
    "chart_datum": "chart datum",
    "clearance_datum": "clearance datum",
    "currency": "currency",
}


def _table_lines(told: TableReport) -> list[str]:
    lines = _guess_lines(told.guess, f", {told.used:,} of {told.rows:,} row{'' if told.rows == 1 else 's'}")
    return [*lines, *(wrapped(note, "  ") for note in told.notes)]


def _guess_lines(guess: SourceGuess, counted: str) -> list[str]:
    kind = guess.source.as_
    if kind == "skip":
        return [wrapped(f"{guess.where}: not used{f': {guess.why}' if guess.why else ''}")]
    because = f", for {guess.why}" if guess.why else ", as the recipe says"
    lines = [wrapped(f"{guess.where}: {kind}{counted}{because}")]
    own = [column.ours for column in guess.columns if column.why == OWN_NAME and column.ours == column.theirs]
    lines += [wrapped(f"by their own names: {', '.join(own)}", "  ")] if own else []
    rows = []
    for column in guess.columns:
        if column.ours in own:
            continue
        unit = f"{column.unit}?" if column.unit_assumed else column.unit
        rows.append((column.ours, column.theirs, unit, column.why or "as the recipe says"))
    lines += table(("column", "from", "in", "why"), rows, "  ") if rows else []
    lines += [wrapped(note, "  ") for note in guess.assumed]
    return [*lines, *([wrapped(f"not used: {', '.join(guess.unused)}", "  ")] if guess.unused else [])]


def _cell_lines(report: BuildReport) -> list[str]:
    """Count what became of each class of objects over all cells."""
    if not report.cells:
        return []
    counts: Counter[tuple[str, str]] = Counter()
    for account in report.cells:
        counts[account.what, account.became] += account.count
    cells = len({account.cell for account in report.cells})
    rows = [(f"{count:,}", what, became) for (what, became), count in sorted(counts.items())]
    head = (
        f"S-57, {cells} cell{'' if cells == 1 else 's'}: every object, and what became of it (--json tells each cell)"
    )
    return [wrapped(head), *table(("count", "objects", "became"), rows, "  "), ""]


def _passed_lines(report: BuildReport) -> list[str]:
    told = [wrapped(f"{passed.where}: {passed.why}", "  ") for passed in report.passed_over]
    return ["Not read:", *_cut(told), ""] if told else []


def _repair_lines(repairs: Iterable[Repair]) -> list[str]:
    told = []
    for repair in repairs:
        name = f" ({repair.name})" if repair.name else ""
        area = f"its area is {repair.after_m2:,.0f} m2 now, and was {repair.before_m2:,.0f} m2 as drawn"
        told.append(
            wrapped(f"{repair.where}, {repair.row}{name}, layer {repair.layer}: {repair.problem}; {area}", "  ")
        )
    return [f"Mended, {len(told)}:", *_cut(told), ""] if told else []


def _finding_lines(report: BuildReport) -> list[str]:
    count = sum(finding.count for finding in report.findings)
    if not count:
        return [f"Nothing {'else ' if report.cautions else ''}doubtful was found in what is there."]
    layers = Counter[str]()
    for finding in report.findings:
        layers[finding.layer] += finding.count
    shared = ", ".join(f"{name} {number}" for name, number in layers.most_common())
    return [wrapped(f"{count} finding{'' if count == 1 else 's'} to look at ({shared}).")]


def _cut(lines: list[str]) -> list[str]:
    if len(lines) <= _MOST_LINES:
        return lines
    return [*lines[:_MOST_LINES], f"  and {len(lines) - _MOST_LINES} more (--json has them all)"]


def _next_lines(built: Built, out: Path) -> list[str]:
    """Say what to type next."""
    named = _quoted(str(out))
    places = [str(name) for layer in ("waypoints", "docks") for name in built.region.layer(layer)["name"]]
    ends = " ".join(_quoted(name) for name in (places * 2)[:2]) if len(places) > 1 else "FROM TO"
    depart = "--aboard full"
    return [
        "Next:",
        f"  routeplan region check {named} --map findings.html",
        f"  routeplan passage {ends} --region {named} --boat boat.toml {depart}",
    ]


def _quoted(word: str) -> str:
    if re.fullmatch(r"[\w./@:+,-]+", word):
        return word
    return "'" + word.replace("'", "'\\''") + "'"
