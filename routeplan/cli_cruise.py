"""The command for group cruises: it parses, calls and prints; nothing is computed here."""

from __future__ import annotations

import contextlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from routeplan import edges
from routeplan.cli_papers import PaperOption
from routeplan.cli_water import (
    NoCache,
    Overhead,
    PlaningStandOff,
    PoorSurveyStandOff,
    SkipBadDocks,
    Snap,
    StandOff,
    UnderKeel,
    Unsurveyed,
    find_network,
    given_margins,
)
from routeplan.edges import JsonOption, MapOption, RegionOption

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime

    from layers import Region
    from routeplan.boats import Boat
    from routeplan.cruise import Cruise
    from routeplan.cruise_asked import CruiseAsked
    from routeplan.cruise_words import CruiseWords
    from routeplan.cruises import CruisePlan
    from routeplan.margins import Margins
    from routeplan.network import Network
    from routeplan.sheet_style import Paper

__all__ = ["cruise"]


def cruise(  # one parameter an option
    file: Annotated[Path, typer.Argument(help="Cruise file (TOML): departure, visits, boats with their fuel aboard.")],
    region: RegionOption,
    without: Annotated[
        list[str] | None, typer.Option("--without", help="A boat that drops out; may be repeated.")
    ] = None,
    closed: Annotated[
        list[str] | None, typer.Option("--closed", help="A dock that is closed; may be repeated.")
    ] = None,
    leave_behind: Annotated[
        bool, typer.Option("--leave-behind", help="Plan the others where boats can't come.")
    ] = False,
    against: Annotated[
        Path | None, typer.Option("--against", help="Tell what changes for whom against this saved cruise, .json.")
    ] = None,
    save: Annotated[Path | None, typer.Option("--save", help="Save the cruise to this file, .json.")] = None,
    sheet: Annotated[
        list[Path] | None,
        typer.Option("--sheet", help="Write the organiser's sheet: .html, or .pdf with the extra pdf."),
    ] = None,
    paper: PaperOption = "a4",
    papers: Annotated[
        Path | None,
        typer.Option("--papers", help="Write all papers into this folder: sheets, routes, lists, map, a plan a boat."),
    ] = None,
    map_file: MapOption = None,
    layers_file: Annotated[
        Path | None, typer.Option("--layers", help="Write the cruise's layers for a GIS: .gpkg or a folder.")
    ] = None,
    under_keel: UnderKeel = None,
    overhead: Overhead = None,
    stand_off: StandOff = None,
    planing_stand_off: PlaningStandOff = None,
    poor_survey_stand_off: PoorSurveyStandOff = None,
    snap: Snap = None,
    allow_unsurveyed: Unsurveyed = False,
    skip_bad_docks: SkipBadDocks = False,
    no_cache: NoCache = False,
    as_json: JsonOption = False,
) -> None:
    """Plan a cruise of several boats: who fuels where, when and how much, and who limits it."""
    from layers import read_region
    from routeplan.cruise_changes import find_changes
    from routeplan.cruise_console import tell_changes, tell_cruise
    from routeplan.cruise_file import read_cruise
    from routeplan.cruise_words import CruiseWords
    from routeplan.documents import cruise_document, read_cruise_document

    now = edges.now()
    files = _Files(tuple(sheet or ()), papers, map_file, layers_file, save, paper)
    files.check()
    margins = given_margins(
        under_keel,
        overhead,
        stand_off,
        snap,
        planing_stand_off,
        poor_survey_stand_off,
        allow_unsurveyed=allow_unsurveyed,
    )
    before = None if against is None else read_cruise_document(against)
    the_region = read_region(region, skip_bad_docks=skip_bad_docks)
    asked = read_cruise(file, the_region.zone).model_copy(update={"leave_behind": leave_behind})
    changed = _changed(asked, without or (), closed or ())
    planner = _Planner(the_region, margins, now, cached=not no_cache)
    if before is None and changed is not asked:
        before = planner.plan_before(asked)
    answer = planner.plan(changed, as_json=as_json, unwritten=files.options)
    words = CruiseWords(answer.plan, answer.asked.boats, the_region.zone, the_region.about.currency)
    files.write(answer, words, now, region)
    if as_json:
        changes = None if before is None else find_changes(before, answer.plan, zone=the_region.zone)
        edges.print_json(cruise_document(answer.plan, the_region, changes))
        return
    told = tell_cruise(words)
    edges.say(told if before is None else f"{tell_changes(before, words)}\n\n{told}")


def _changed(asked: CruiseAsked, without: Sequence[str], closed: Sequence[str]) -> CruiseAsked:
    """Take out the boats that drop out, and close docks."""
    from layers.errors import InputError
    from routeplan.cruise_asked import DockTold, name_key
    from routeplan.places import nearest_names

    if not without and not closed:
        return asked
    names = {name_key(one.name): one.name for one in asked.boats}
    for name in without:
        if name_key(name) not in names:
            near = nearest_names(name, list(names.values()))
            offer = f"did you mean {' or '.join(near)}?" if near else f"its boats are {', '.join(names.values())}"
            raise InputError("--without", "no boat of the cruise has this name", value=name, remedy=offer)
    gone = {name_key(name) for name in without}
    boats = tuple(one for one in asked.boats if name_key(one.name) not in gone)
    if not boats:
        raise InputError("--without", "no boat is left", value=", ".join(without), remedy="leave one in")
    shut = {name_key(name): name for name in closed}
    docks = tuple(one.model_copy(update={"closed": True}) if name_key(one.name) in shut else one for one in asked.docks)
    known = {name_key(one.name) for one in docks}
    docks += tuple(DockTold(name=name, closed=True) for key, name in shut.items() if key not in known)
    return asked.model_copy(update={"boats": boats, "docks": docks})


@dataclass(frozen=True)
class _Planner:
    """Plans cruises on one region, and tells why where there is none."""

    region: Region
    margins: Margins
    now: datetime
    cached: bool

    def plan(self, asked: CruiseAsked, *, as_json: bool, unwritten: Sequence[str]) -> Cruise:
        from routeplan.cruise_console import tell_cruise_refusal
        from routeplan.cruises import NoCruiseError
        from routeplan.documents import cruise_refusal_document

        try:
            return self._find(asked)
        except NoCruiseError as error:
            if as_json:
                edges.print_json(cruise_refusal_document(error, self.region))
            else:
                edges.say(tell_cruise_refusal(error))
            if unwritten:
                names = " and ".join(unwritten)
                typer.echo(f"routeplan: nothing was written for {names}, as no cruise keeps the rules", err=True)
            raise typer.Exit(3) from error

    def plan_before(self, asked: CruiseAsked) -> CruisePlan | None:
        """Plan the cruise as its file has it, to tell what changes; None where there is none."""
        from routeplan.cruises import NoCruiseError

        try:
            return self._find(asked).plan
        except NoCruiseError as error:
            typer.echo(f"routeplan: as its file has it {error}", err=True)
            return None

    def _find(self, asked: CruiseAsked) -> Cruise:
        from routeplan.console import Progress
        from routeplan.cruise import find_cruise

        progress = Progress(f"Planning for {len(asked.boats)} boat{'s' if len(asked.boats) > 1 else ''}")
        try:
            return find_cruise(
                asked, self.region, self.margins, build=self._builder(asked), now=self.now, progress=progress
            )
        finally:
            progress.close()

    def _builder(self, asked: CruiseAsked) -> Callable[[Boat], Network]:
        return lambda boat: find_network(self.region, boat, self.margins, asked.depart, cached=self.cached)


@dataclass(frozen=True)
class _Files:
    """What is to be written; all of it or none."""

    sheets: tuple[Path, ...]
    folder: Path | None
    map_file: Path | None
    layers_file: Path | None
    save: Path | None
    paper: Paper

    @property
    def options(self) -> list[str]:
        """The options that name files."""
        given = {
            "--sheet": self.sheets,
            "--papers": self.folder,
            "--map": self.map_file,
            "--layers": self.layers_file,
            "--save": self.save,
        }
        return [option for option, value in given.items() if value]

    def check(self) -> None:
        """Refuse what can't be written, before any work."""
        from layers.errors import InputError
        from routeplan.sheet_pdf import check_sheet_file

        for path in self.sheets:
            check_sheet_file(edges.named(path, "--sheet"), "--sheet")
        if self.save is not None and edges.named(self.save, "--save").suffix.lower() != ".json":
            raise InputError("--save", "a cruise is saved as .json", value=str(self.save), remedy="name it FILE.json")
        if self.folder is not None and self.folder.exists() and not self.folder.is_dir():
            raise InputError("--papers", "is a file, and papers go into a folder", value=str(self.folder))

    def write(self, answer: Cruise, words: CruiseWords, now: datetime, region: Path) -> None:
        """Write everything beside its place, then move it there."""
        from layers import write_layers
        from layers.files import replaced_file
        from routeplan.cruise_layers import layers_of_cruise
        from routeplan.cruise_page import build_cruise_page
        from routeplan.cruise_papers import write_papers
        from routeplan.documents import cruise_document
        from routeplan.sheet_pdf import write_sheet

        with contextlib.ExitStack() as drafts:
            page = build_cruise_page(words, self.paper) if self.sheets else ""
            for path in self.sheets:
                write_sheet(page, drafts.enter_context(replaced_file(path)))
            document = json.dumps(cruise_document(answer.plan, answer.region), indent=1, allow_nan=False) + "\n"
            if self.save is not None:
                drafts.enter_context(replaced_file(self.save)).write_text(document, encoding="utf-8")
            if self.map_file is not None:
                draft = drafts.enter_context(replaced_file(edges.named(self.map_file, "--map")))
                draft.write_text(_map_page(answer, words), encoding="utf-8")
            if self.folder is not None:
                write_papers(self.folder, answer, words, now, region, self.paper, document, _map_page(answer, words))
            if self.layers_file is not None:
                write_layers(layers_of_cruise(words, answer.region), edges.named(self.layers_file, "--layers"))


def _map_page(answer: Cruise, words: CruiseWords) -> str:
    """Draw the cruise as a page."""
    import maps
    from routeplan.cruise_layers import layers_of_cruise

    lines = [words.span(), words.docks_line(), words.delay_line()]
    page = maps.draw(
        answer.region,
        layers_of_cruise(words, answer.region),
        title=words.title(),
        notes=[f"{line}." for line in lines],
        cautions=answer.plan.cautions,
        lengths=words.units.short_length,
    )
    return str(page.html())
