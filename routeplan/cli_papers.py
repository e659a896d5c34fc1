"""What a plan leaves the laptop as: sheet, routes for the plotter, the plan itself; all of these files or none."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from routeplan import edges

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from layers import Region
    from layers.short_names import ShortName
    from routeplan.saved_plans import SavedPlan

__all__ = [
    "NamesOption",
    "OverdueOption",
    "PaperOption",
    "Papers",
    "PeopleOption",
    "RouteOption",
    "SaveOption",
    "SheetOption",
    "ShoreOption",
    "ShortNamesOption",
    "tell_short_names",
]

Paper = Literal["a4", "letter"]

SheetOption = Annotated[
    list[Path] | None,
    typer.Option("--sheet", help="Write the passage sheet: .html, or .pdf with the extra pdf; may be repeated."),
]
PaperOption = Annotated[Paper, typer.Option("--paper", help="Size of the sheet's pages.")]
RouteOption = Annotated[
    list[Path] | None,
    typer.Option("--route", help="Write the route for a plotter: .gpx, .rtz, .geojson, .kml, .csv; may be repeated."),
]
ShortNamesOption = Annotated[
    str | None,
    typer.Option("--short-names", help="Letters that a plotter shows, 6 to 40: names in the route fit them."),
]
SaveOption = Annotated[
    Path | None, typer.Option("--save", help="Save the plan to this file, .json, for underway to follow.")
]
PeopleOption = Annotated[str | None, typer.Option("--people", help="Persons aboard, for the sheet.")]
NamesOption = Annotated[str | None, typer.Option("--names", help="Their names, commas between, for the sheet.")]
ShoreOption = Annotated[
    str | None, typer.Option("--shore-contact", help="Who waits ashore, with phone number, for the sheet.")
]
OverdueOption = Annotated[
    str | None, typer.Option("--overdue", help="When help is to be called: 2h after arriving, or a time such as 18:30.")
]


@dataclass(frozen=True)
class Papers:
    """Which papers are wanted, as typed.

    Parameters
    ----------
    sheets, paper
        The sheet's files, and the size of its pages.
    routes, short_names
        The routes' files, and how many letters their names may have.
    save
        The plan's file.
    people, names, shore_contact, overdue
        What the sheet says of people.
    """

    sheets: Sequence[Path] = ()
    paper: Paper = "a4"
    routes: Sequence[Path] = ()
    short_names: str | None = None
    save: Path | None = None
    people: str | None = None
    names: str | None = None
    shore_contact: str | None = None
    overdue: str | None = None

    @property
    def wanted(self) -> dict[str, Path]:
        """The files that are to be written, by option."""
        several = {"--sheet": self.sheets, "--route": self.routes}
        found = {f"{option} {p}": p for option, paths in several.items() for p in paths} | {"--save": self.save}
        return {option: path for option, path in found.items() if path is not None}

    def check(self) -> None:
        """Refuse what can't be written, before any work.

        Raises
        ------
        InputError
            A file's ending says no format, two options name one file, or an option lacks the one that it belongs to.
        """
        from layers.errors import InputError
        from layers.route_files import check_route_file
        from layers.short_names import read_short_names
        from routeplan.sheet_pdf import check_sheet_file

        for path in self.routes:
            check_route_file(edges.named(path, "--route"), "--route")
        for path in self.sheets:
            check_sheet_file(edges.named(path, "--sheet"), "--sheet")
        if self.save is not None and edges.named(self.save, "--save").suffix.lower() != ".json":
            raise InputError("--save", "a plan is saved as .json", value=str(self.save), remedy="name it FILE.json")
        files = list(self.wanted.values())
        for index, path in enumerate(files):
            if path.absolute() in [other.absolute() for other in files[:index]]:
                raise InputError(str(path), "is named twice", remedy="give each file a name of its own")
        if self.short_names is not None:
            if not self.routes:
                raise InputError(
                    "--short-names", "is for routes", value=self.short_names, remedy="add --route FILE.gpx"
                )
            read_short_names(self.short_names, "--short-names")
        for option, text in {
            "--people": self.people,
            "--names": self.names,
            "--shore-contact": self.shore_contact,
            "--overdue": self.overdue,
        }.items():
            if text is not None and not self.sheets:
                raise InputError(option, "is for the sheet", value=text, remedy="add --sheet FILE.html")

    @contextlib.contextmanager
    def written(self, saved: SavedPlan, region: Region, *, follow: bool = True) -> Iterator[tuple[ShortName, ...]]:
        """Write all of them beside their places; they are moved there where the block ends well.

        Parameters
        ----------
        saved
            The plan.
        region
            Where land is drawn from.
        follow
            Whether a plan that is saved is the one that `underway` follows from now on.

        Yields
        ------
        Names that were shortened in the routes.

        Raises
        ------
        InputError
            One of them can't be written; then none is.
        """
        from layers.files import replaced_file
        from layers.route_files import route_text
        from layers.short_names import read_short_names, with_short_names
        from routeplan.crews import read_crew
        from routeplan.plan_files import note_plan
        from routeplan.plan_routes import route_of
        from routeplan.saved_plans import write_plan
        from routeplan.sheet_page import build_sheet
        from routeplan.sheet_pdf import write_sheet

        crew = saved.crew
        if any((self.people, self.names, self.shore_contact, self.overdue)):
            said = (self.people, self.shore_contact, self.overdue)
            crew = read_crew(*said, arrive=saved.plan.arrive, zone=saved.zone, names=self.names)
        saved = saved.model_copy(update={"crew": crew})
        shortened: tuple[ShortName, ...] = ()
        with contextlib.ExitStack() as drafts:
            places = {path: drafts.enter_context(replaced_file(path)) for path in self.wanted.values()}
            if self.routes:
                route = route_of(saved, region)
                if self.short_names is not None:
                    route, shortened = with_short_names(route, read_short_names(self.short_names, "--short-names"))
                for path in self.routes:
                    places[path].write_bytes(route_text(route, path).encode("utf-8"))
            page = build_sheet(saved, region, crew, self.paper) if self.sheets else ""
            for path in self.sheets:
                write_sheet(page, places[path])
            if self.save is not None:
                write_plan(saved, places[self.save])
            yield shortened
        if self.save is not None and follow:
            note_plan(self.save)
        if follow:
            typer.echo(f"Wrote {', '.join(map(str, self.wanted.values()))}.", err=True)


def tell_short_names(shortened: Sequence[ShortName]) -> None:
    """Report which names were shortened, on stderr.

    Parameters
    ----------
    shortened
        Old and new names; nothing is said where there are none.
    """
    if shortened:
        typer.echo("Names in the route:", err=True)
    for name in shortened:
        typer.echo(f"  {name.short:<{max(len(n.short) for n in shortened)}}  {name.full}", err=True)
