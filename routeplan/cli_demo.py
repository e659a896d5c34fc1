"""The demo: its boat's log learnt from, her long run planned, all of it written into a folder."""

from __future__ import annotations

import contextlib
import json
from pathlib import Path
from typing import Annotated

import typer

from routeplan import edges
from routeplan.cli_conditions import read_surroundings
from routeplan.cli_papers import Papers
from routeplan.cli_passage import Asked, find_answer, map_page, print_passage
from routeplan.cli_water import find_network

__all__ = ["demo"]


def demo(
    out: Annotated[Path, typer.Option("--out", help="Folder for plan, map, sheet and route.")] = Path("routeplan-demo"),
) -> None:
    """Learn from the demo boat's log and plan her long run; write plan, map, sheet and route into a folder."""
    import demo_region
    from layers import read_region
    from layers.files import replaced_file
    from routeplan.boats import read_boat
    from routeplan.console import wrapped
    from routeplan.documents import passage_document
    from routeplan.fuel import read_aboard
    from routeplan.helm_marks import find_helm, start_meter
    from routeplan.learn_page import build_page
    from routeplan.log_use import taught_by, what_it_taught
    from routeplan.margins import Margins
    from routeplan.saved_plans import keep_plan
    from routeplan.teaching import sharpened
    from routeplan.trips import Trip, read_departure

    story, data = demo_region.story(), demo_region.data_folder()
    the_boat = read_boat(data / story.boat)
    taught = taught_by(the_boat, str(data / story.log))
    the_region = read_region(data)
    depart = read_departure(story.depart, the_region.zone, "--depart")
    full = read_aboard(story.aboard, taught.boat, "--aboard")
    trip = Trip(start=story.start, finish=story.finish, depart=depart, aboard=full)
    with contextlib.ExitStack() as drafts:  # all files or none; a folder that can't be written is told before the work
        answer_file, page_file, map_file = (
            drafts.enter_context(replaced_file(out / name)) for name in ("passage.json", "learn.html", "passage.html")
        )
        network = find_network(the_region, the_boat, Margins(), depart, cached=True)
        surroundings = read_surroundings(the_region, taught.boat, taught.lesson, None, None, still_water=False)
        asked = Asked(network, trip, depart, taught.boat, surroundings=surroundings)
        answer = find_answer(asked, [what_it_taught(taught)])
        answer_file.write_text(json.dumps(passage_document(answer), indent=1, allow_nan=False) + "\n", encoding="utf-8")
        page_file.write_text(build_page(taught.lesson, sharpened(taught), the_region.zone), encoding="utf-8")
        map_file.write_text(map_page(answer), encoding="utf-8")
        helm = find_helm(answer, answer.recommended, start_meter(taught, None))
        where = (str(data), str(data / story.boat), str(data / story.log))
        saved = keep_plan(answer, helm, edges.now(), files=where, boat_digest=the_boat.digest)
        papers = Papers(sheets=(out / "sheet.html",), routes=(out / "passage.gpx",), save=out / "plan.json")
        drafts.enter_context(papers.written(saved, the_region, follow=False))
    print_passage(answer, asked)
    edges.say("\n" + wrapped(f"What to see here: {story.why}"))
    edges.say(f"\nThe plan is in {out / 'passage.json'}, the map in {out / 'passage.html'},")
    edges.say(f"what {the_boat.name}'s log of {taught.lesson.fillups} fill-ups teaches in {out / 'learn.html'}.")
    edges.say(f"The sheet for the helm is {out / 'sheet.html'}, the route for a plotter {out / 'passage.gpx'},")
    edges.say(f"the plan to follow underway {out / 'plan.json'}.")
    edges.say("Open map, sheet and page in any browser, no network needed.")
