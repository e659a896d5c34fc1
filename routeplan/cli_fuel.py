"""The commands about fuel: what is aboard, what the log teaches, and what to do at the pump.

They parse, call and print; nothing is computed here.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from layers.errors import InputError
from routeplan import edges
from routeplan.edges import BoatOption, JsonOption, LogOption

if TYPE_CHECKING:
    from routeplan.aboard import Aboard, Readings
    from routeplan.boats import Boat
    from routeplan.fuel import FuelAboard
    from routeplan.teaching import Taught

__all__ = ["GaugeOption", "MeterOption", "NoLogOption", "aboard", "advice", "boat_learn", "read_fuel", "taught_or_file"]

MeterOption = Annotated[
    str | None,
    typer.Option("--meter", help="What the flow meter says was used since its reset: 31.2gal, or 15.4+15.8 for two."),
]
GaugeOption = Annotated[str | None, typer.Option("--gauge", help="What the gauge shows: 44gal, 3/8 or 40%.")]
NoLogOption = Annotated[
    bool, typer.Option("--no-log", help="Leave the log aside: instruments and burn as the boat file says.")
]
_ConfidenceOption = Annotated[
    str, typer.Option("--confidence", help="Share of arrivals that keep the whole reserve, for the range.")
]


def aboard(
    boat: BoatOption,
    meter: MeterOption = None,
    gauge: GaugeOption = None,
    log: LogOption = None,
    no_log: NoLogOption = False,
    confidence: _ConfidenceOption = "0.9",
    as_json: JsonOption = False,
) -> None:
    """Tell the fuel aboard now from meter, gauge or both, corrected by what the log teaches, and how sure it is."""
    from routeplan.boats import read_boat
    from routeplan.documents import aboard_document
    from routeplan.fuel import read_confidence
    from routeplan.fuel_words import FUEL_CAUTIONS, tell_aboard

    the_boat = read_boat(boat)
    share = read_confidence(confidence, "--confidence")
    readings = _readings(meter, gauge, the_boat)
    found = _found(readings, taught_or_file(the_boat, log, no_log=no_log), share)
    if as_json:
        edges.print_json(aboard_document(found, the_boat, share, FUEL_CAUTIONS))
    else:
        edges.say(tell_aboard(found, the_boat, readings, share, edges.now()))


def boat_learn(
    file: Annotated[Path, typer.Argument(help="Boat file (TOML).", envvar="ROUTEPLAN_BOAT")],
    log: LogOption = None,
    page: Annotated[
        Path | None, typer.Option("--page", help="Write a page with the pictures to this HTML file; no network needed.")
    ] = None,
    pictures: Annotated[Path | None, typer.Option("--pictures", help="Write the pictures into this folder.")] = None,
    kind: Annotated[str, typer.Option("--kind", help="Kind of the pictures: svg or png.")] = "svg",
    as_json: JsonOption = False,
) -> None:
    """Tell what the log teaches: what meter and gauge are worth, what she really burns, which rows are doubtful."""
    from routeplan.boats import read_boat
    from routeplan.documents import lesson_document
    from routeplan.fuel_words import FUEL_CAUTIONS, tell_lesson
    from routeplan.log_files import read_fillups
    from routeplan.logbook import default_log
    from routeplan.teaching import learn, sharpened

    the_boat = read_boat(file)
    fillups = read_fillups(default_log() if log is None else log)
    taught = learn(the_boat, fillups.need(the_boat.name))
    lesson = taught.lesson
    if page is not None or pictures is not None:
        from routeplan.charts import draw_pictures
        from routeplan.learn_page import write_page

        path = sharpened(taught)
        if pictures is not None:
            draw_pictures(lesson, path, edges.named(pictures, "--pictures"), kind)  # type: ignore[arg-type]
        if page is not None:
            write_page(lesson, path, edges.named(page, "--page"))
    if as_json:
        edges.print_json(lesson_document(lesson, fillups.where, FUEL_CAUTIONS))
    else:
        edges.say(tell_lesson(lesson, fillups.where, "here"))


def advice(
    boat: BoatOption,
    meter: MeterOption = None,
    gauge: GaugeOption = None,
    given: Annotated[
        str | None, typer.Option("--aboard", help="Fuel aboard, in place of readings: 40gal or 40gal±3gal.")
    ] = None,
    take: Annotated[str | None, typer.Option("--take", help="How much is wanted; default to the full mark.")] = None,
    dock: Annotated[
        str | None, typer.Option("--dock", help="Dock of the region: its rate, price, largest sale.")
    ] = None,
    region: Annotated[
        Path | None, typer.Option("--region", help="Region: a folder with region.toml, or a GeoPackage.")
    ] = None,
    price: Annotated[str | None, typer.Option("--price", help="Price, in place of the dock's: 1.97/l or 7.45.")] = None,
    log: LogOption = None,
    no_log: NoLogOption = False,
    as_json: JsonOption = False,
) -> None:
    """Tell how much to ask the pump for, from which total to slow down and listen, and what to heed, in order."""
    from routeplan.boats import read_boat
    from routeplan.instrument_texts import read_price_per_l
    from routeplan.pumping import advice_document, advise, tell_advice
    from routeplan.quantities import read_volume_l

    the_boat = read_boat(boat)
    taught = taught_or_file(the_boat, log, no_log=no_log)
    fuel, found = read_fuel(the_boat, taught, given, meter, gauge, 0.9)
    facts, currency = _dock_facts(the_boat, dock, region)
    if price is not None:
        facts["price_per_l"] = read_price_per_l(price, the_boat, "--price")
    told = advise(
        the_boat,
        fuel.mean_l if found is None else found.mean_l,
        fuel.sd_l if found is None else found.sd_l,
        aboard_low_l=None if found is None else found.low_l,
        aboard_high_l=None if found is None else found.high_l,
        full_mark_sd_l=taught.lesson.full_mark_sd_l.mean,
        take_l=None if take is None else read_volume_l(take, "--take", bare=the_boat.units.volume_unit),
        **facts,
    )
    if found is not None:
        told = told.model_copy(update={"findings": (*found.findings, *told.findings)})
    if as_json:
        edges.print_json(advice_document(told, currency))
    else:
        edges.say(tell_advice(told, the_boat, currency or ""))


def taught_or_file(boat: Boat, log: str | None, *, no_log: bool) -> Taught:
    """Learn from the log that was named, or the default one, unless it is to be left aside.

    Parameters
    ----------
    boat
        The boat.
    log
        As given.
    no_log
        Whether the log is left aside.

    Returns
    -------
    What the log teaches; the priors where it is left aside or has nothing of this boat.
    """
    from routeplan.log_use import taught_by
    from routeplan.teaching import without_log

    return without_log(boat) if no_log else taught_by(boat, log)


def read_fuel(
    boat: Boat, taught: Taught, given: str | None, meter: str | None, gauge: str | None, confidence: float
) -> tuple[FuelAboard, Aboard | None]:
    """Read the fuel aboard as it was given: as a volume, or by meter and gauge.

    Parameters
    ----------
    boat
        The boat.
    taught
        What her log taught.
    given, meter, gauge
        The options as typed; None where not given.
    confidence
        [share] For the range.

    Returns
    -------
    The fuel to plan with, and what meter and gauge told where they were read.

    Raises
    ------
    InputError
        Neither or both ways were taken, or a figure can't be read.
    """
    from routeplan.fuel import read_aboard

    if given is not None:
        if meter is not None or gauge is not None:
            remedy = "give the volume, or what the instruments say"
            raise InputError("--aboard", "is given beside --meter or --gauge", value=given, remedy=remedy)
        return read_aboard(given, taught.boat, "--aboard"), None
    if meter is None and gauge is None:
        raise InputError(
            "--aboard", "is missing", remedy="give --aboard 71gal, or what the instruments say: --meter and --gauge"
        )
    found = _found(_readings(meter, gauge, boat), taught, confidence)
    return found.fuel, found


def _readings(meter: str | None, gauge: str | None, boat: Boat) -> Readings:
    from routeplan.aboard import Readings
    from routeplan.instrument_texts import read_gauge, read_meters

    shown = None if meter is None else read_meters(meter, boat, "--meter")[0]
    if shown is not None and None in shown:
        raise InputError("--meter", "lacks one meter's figure", value=meter, remedy="read both, or give --gauge alone")
    return Readings(
        meters_l=None if shown is None else tuple(value for value in shown if value is not None),
        gauge_l=None if gauge is None else read_gauge(gauge, boat, "--gauge")[0],
    )


def _found(readings: Readings, taught: Taught, confidence: float) -> Aboard:
    from routeplan.aboard import find_aboard

    return find_aboard(taught, readings, confidence)


def _dock_facts(boat: Boat, dock: str | None, region: Path | None) -> tuple[dict[str, Any], str | None]:
    """Look up what a dock's pump does."""
    from routeplan.docks import pump_facts

    if dock is None:
        return {}, None
    if region is None:
        raise InputError("--dock", "needs the region that it is in", value=dock, remedy="add --region")
    from layers import read_region

    return pump_facts(read_region(region), boat, dock)
