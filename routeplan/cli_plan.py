"""The commands about saved plans: shown and printed again, and the form that they are published in."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from routeplan import edges
from routeplan.cli_papers import (
    NamesOption,
    OverdueOption,
    PaperOption,
    Papers,
    PeopleOption,
    RouteOption,
    SaveOption,
    SheetOption,
    ShoreOption,
    ShortNamesOption,
    tell_short_names,
)
from routeplan.cli_underway import OtherBoat, OtherRegion, open_plan
from routeplan.edges import JsonOption

__all__ = ["plans"]

plans = typer.Typer(
    help="Show a saved plan, print it again, publish its form.", no_args_is_help=False, rich_markup_mode=None
)


@plans.command("show")
def plan_show(
    file: Annotated[Path, typer.Argument(help="Saved plan, .json.")],
    save: SaveOption = None,
    sheet: SheetOption = None,
    paper: PaperOption = "a4",
    people: PeopleOption = None,
    names: NamesOption = None,
    shore_contact: ShoreOption = None,
    overdue: OverdueOption = None,
    route: RouteOption = None,
    short_names: ShortNamesOption = None,
    region: OtherRegion = None,
    boat: OtherBoat = None,
    as_json: JsonOption = False,
) -> None:
    """Show a saved plan and how region and boat at hand differ from it; print its sheet or its route again."""
    from routeplan.console import wrapped
    from routeplan.documents import saved_plan_document
    from routeplan.saved_plans import differences
    from routeplan.saved_words import tell_saved

    papers = Papers(
        sheets=sheet or (),
        paper=paper,
        routes=route or (),
        short_names=short_names,
        save=save,
        people=people,
        names=names,
        shore_contact=shore_contact,
        overdue=overdue,
    )
    papers.check()
    saved, the_region, file_boat = open_plan(file, region, boat)
    if papers.wanted:
        with papers.written(saved, the_region) as shortened:
            pass
        tell_short_names(shortened)
    told = differences(saved, the_region, file_boat)
    if as_json:
        edges.print_json(saved_plan_document(saved, told))
    else:
        lines = [*(f"! {line}" for line in told), *tell_saved(saved)]
        edges.say("\n".join(wrapped(line) if line else "" for line in lines))


@plans.command("schema")
def schema() -> None:
    """Print the form of a saved plan as JSON Schema."""
    from routeplan.saved_plans import plan_schema

    edges.print_json(plan_schema())
