"""The command line: it parses, calls and prints; nothing is computed here.

Exit codes: 0 done; 2 bad input, one clear line on stderr and nothing on stdout; 3 no plan keeps the rules.
"""

from __future__ import annotations

import io
import os
import re
import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from routeplan import edges
from routeplan.cli_cruise import cruise
from routeplan.cli_currents import currents
from routeplan.cli_demo import demo
from routeplan.cli_fillup import fillups
from routeplan.cli_fuel import NoLogOption, aboard, advice, boat_learn, taught_or_file
from routeplan.cli_passage import passage
from routeplan.cli_plan import plans
from routeplan.cli_reach import reach
from routeplan.cli_region import regions
from routeplan.cli_route import routes
from routeplan.cli_underway import underway
from routeplan.cli_water import (
    NoCache,
    Overhead,
    SkipBadDocks,
    Snap,
    StandOff,
    UnderKeel,
    Unsurveyed,
    find_network,
    given_margins,
)
from routeplan.edges import BoatOption, JsonOption, LogOption, RegionOption

__all__ = ["app", "main"]

_STOPPED = 130  # exit code of a program that Ctrl-C ended: 128 and the signal's number

app = typer.Typer(
    name="routeplan",
    help="Fuel aboard, range and refuel stops for fast outboard day boats. An aid to planning, not for navigation.",
    no_args_is_help=False,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
boats = typer.Typer(help="Look at a boat file.", no_args_is_help=False, rich_markup_mode=None)
app.add_typer(boats, name="boat")
app.add_typer(regions, name="region")
app.add_typer(fillups, name="fillup")
app.add_typer(routes, name="route")
app.add_typer(plans, name="plan")
app.command("passage")(passage)
app.command("cruise")(cruise)
app.command("reach")(reach)
app.command("currents")(currents)
app.command("underway")(underway)
app.command("demo")(demo)
app.command("aboard")(aboard)
boats.command("learn")(boat_learn)
fillups.command("advice")(advice)


@app.command()
def docks(
    region: RegionOption,
    boat: BoatOption,
    origin: Annotated[str | None, typer.Option("--from", help="Place to count distances over water from.")] = None,
    suitable: Annotated[bool, typer.Option("--suitable", help="Only docks that suit the boat.")] = False,
    under_keel: UnderKeel = None,
    overhead: Overhead = None,
    stand_off: StandOff = None,
    snap: Snap = None,
    allow_unsurveyed: Unsurveyed = False,
    skip_bad_docks: SkipBadDocks = False,
    no_cache: NoCache = False,
    as_json: JsonOption = False,
) -> None:
    """Tell what is known of each fuel dock, how stale it is, and how far it is over water."""
    from layers import read_region
    from routeplan.boats import read_boat
    from routeplan.console import tell_docks
    from routeplan.documents import docks_document
    from routeplan.network import unreached_docks
    from routeplan.survey import look_at_docks
    from routeplan.words import Words

    margins = given_margins(under_keel, overhead, stand_off, snap, allow_unsurveyed=allow_unsurveyed)
    the_boat = read_boat(boat)
    the_region = read_region(region, skip_bad_docks=skip_bad_docks)
    network = find_network(the_region, the_boat, margins, None, cached=not no_cache)
    found, distances, name = look_at_docks(network, origin, edges.now(), only_suitable=suitable)
    if as_json:
        edges.print_json(docks_document(found, the_region, the_boat, distances))
    else:
        words = Words(the_boat, the_region.zone, the_region.about.currency)
        edges.say(tell_docks(found, words, distances, name, unreached_docks(network)))


@boats.command("check")
def boat_check(
    file: Annotated[Path, typer.Argument(help="Boat file (TOML).")],
    as_json: JsonOption = False,
) -> None:
    """Check a boat file: every fault at once, or what was understood."""
    from routeplan.boats import read_boat

    the_boat = read_boat(file)
    if as_json:
        edges.print_json(
            {
                "schema": "routeplan/boat-check/1",
                "file": str(file),
                "boat": the_boat.model_dump(mode="json"),
                "faults": [],
            }
        )
    else:
        units = the_boat.units
        edges.say(
            f"{file}: good. {the_boat.name}: capacity {units.echo_volume(the_boat.tank.capacity_l)}, full mark "
            f"{units.echo_volume(the_boat.tank.full_mark_l)}, unusable {units.echo_volume(the_boat.tank.unusable_l)}, "
            f"reserve {units.echo_volume(the_boat.reserve_l)}."
        )


@boats.command("show")
def boat_show(
    file: Annotated[Path, typer.Argument(help="Boat file (TOML).")],
    given: Annotated[str, typer.Option("--aboard", help="Fuel aboard: full, 71gal, 71gal±3gal, 270l.")] = "full",
    confidence: Annotated[
        str, typer.Option("--confidence", help="Share of arrivals that keep the whole reserve.")
    ] = "0.9",
    log: LogOption = None,
    no_log: NoLogOption = False,
    as_json: JsonOption = False,
) -> None:
    """Show a boat's capacity, usable fuel, and range at each speed, with the burn as the log teaches it."""
    from routeplan.boats import read_boat
    from routeplan.console import tell_boat
    from routeplan.documents import boat_document
    from routeplan.fuel import read_aboard, read_confidence
    from routeplan.log_use import what_it_taught
    from routeplan.survey import ranges_at_each_speed

    taught = taught_or_file(read_boat(file), log, no_log=no_log)
    the_boat = taught.boat
    amount = read_aboard(given, the_boat, "--aboard")
    share = read_confidence(confidence, "--confidence")
    ranges = ranges_at_each_speed(the_boat, amount, share)
    if as_json:
        edges.print_json(boat_document(the_boat, amount, ranges))
    else:
        edges.say("\n".join(filter(None, [tell_boat(the_boat, amount, share, ranges), what_it_taught(taught)])))


_KINDS_OF_LIGHT = ("sun", "civil", "nautical", "astronomical")  # the last two are refused by name


def _with_daylight(words: list[str]) -> list[str]:
    """Give a bare `--daylight` its value, as typer has no options whose value may be left out."""
    found: list[str] = []
    for i, word in enumerate(words):
        found.append(word)
        if word == "--daylight" and words[i + 1 : i + 2] not in [[kind] for kind in _KINDS_OF_LIGHT]:
            found.append("sun")
    return found


def main() -> None:
    """Run the command line; every error leaves as one clear line and its exit code."""
    from layers.errors import LayersError, RouteplanError

    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a console that lacks a letter still gets its answer
    try:
        # A southern latitude is no option: a blank before the minus tells typer so, and readers strip it.
        words = [f" {word}" if re.match(r"-\.?\d", word) else word for word in _with_daylight(sys.argv[1:])]
        code = app(args=words, prog_name="routeplan", standalone_mode=False)
    except typer.Exit as done:
        code = done.exit_code
    except typer.TyperException as error:
        code = _fail(_usage(error), 2)
    except (KeyboardInterrupt, typer.Abort):
        code = _STOPPED
    except RouteplanError as error:
        skippable = isinstance(error, LayersError) and any(row.column == "opening_hours" for row in error.bad_rows)
        code = _fail(f"{error}{' (--skip-bad-docks leaves such docks out)' if skippable else ''}", 2)
    except Exception as error:  # the one place where nothing may escape as a traceback
        if os.environ.get("ROUTEPLAN_DEBUG"):
            raise
        code = _fail(
            f"a fault of ours: {type(error).__name__}: {error}; please report it, ROUTEPLAN_DEBUG=1 tells more", 1
        )
    if code == _STOPPED:  # typer makes an exit of a Ctrl-C by itself
        _fail("stopped", _STOPPED)
    sys.exit(code or 0)


def _usage(error: Any) -> str:  # typer's exception
    context = getattr(error, "ctx", None)
    where = context.command_path if context else "routeplan"
    return f"{where}: {' '.join(error.format_message().split())} (see {where} --help)"


def _fail(line: str, code: int) -> int:
    print(f"routeplan: {line}" if not line.startswith("routeplan") else line, file=sys.stderr)
    return code
