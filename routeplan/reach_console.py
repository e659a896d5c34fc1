"""What `reach` prints for a person: the answer in words, then places, turning points and cautions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from routeplan.console import caution_lines, source_lines, table, terminal_width, wrapped
from routeplan.picking import with_docks
from routeplan.places import write_position
from routeplan.reach_words import ReachWords, shown_out
from routeplan.units_shown import shown_distance, shown_duration, shown_speed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from routeplan.reach import Reach
    from routeplan.reached import InReach, NoReachError, ReachArea, TurningPoint

__all__ = ["tell_no_reach", "tell_reach"]


def tell_reach(reach: Reach, left_out: int = 0) -> str:
    """Tell a reach to a person.

    Parameters
    ----------
    reach
        The answer to an outing, its places in the order to be told.
    left_out
        How many more places are in reach that weren't to be told.

    Returns
    -------
    Text of several lines.
    """
    words = ReachWords(reach)
    out = [*_understood(words), "", *(wrapped(line) for line in words.answers())]
    out += [] if left_out else [wrapped(words.counted_places())]
    out += [wrapped(line) for line in words.notes()]
    out += ["", *_areas(words)]
    out += _places(words, left_out)
    out += _turning_points(words)
    return "\n".join([*out, "", *caution_lines(reach.cautions), *source_lines(reach.network.region)])


def tell_no_reach(error: NoReachError) -> str:
    """Tell why nothing is in reach.

    Parameters
    ----------
    error
        Carries what is short.

    Returns
    -------
    Text of several lines.
    """
    refusal = error.refusal
    out = ["Nothing is in reach.", wrapped(f"{refusal.why[0].upper()}{refusal.why[1:].removesuffix('.')}.")]
    if refusal.try_:
        out += ["", "What would help:", *(wrapped(f"- {idea}", "  ") for idea in refusal.try_)]
    return "\n".join([*out, "", *caution_lines(error.cautions)])


def _understood(words: ReachWords) -> list[str]:
    """Echo what was understood, so that a wrong unit or place is seen before the answer is believed."""
    reach, boat, outing = words.reach, words.boat, words.reach.outing
    where = write_position(reach.start.position)
    speeds = " and ".join(shown_speed(v) for v in reach.speeds_kn)
    asked = f" Asked for: what can be done within {words.budget}." if words.budget else ""
    return [
        wrapped(f"{boat.name}: from {reach.start.name}{'' if reach.start.name == where else f' ({where})'}."),
        wrapped(
            f"Leaves {words.day_and_clock(outing.depart)} {words.year(outing.depart)} ({words.zone.key}) at {speeds}; "
            f"aboard {outing.aboard.how}. Reserve {words.units.volume(boat.reserve_l)}, unusable "
            f"{words.units.volume(boat.tank.unusable_l)}, confidence {outing.confidence:g}.{asked}"
        ),
    ]


def _areas(words: ReachWords) -> list[str]:
    """Line up how far out each kind of reach goes at each speed."""
    units = words.units
    unit = units.volume_label
    by_way: dict[tuple[float, str], dict[str, ReachArea]] = {}
    for area in words.reach.areas:
        by_way.setdefault((area.speed_kn, words.way(area)), {})[area.figure] = area
    rows = []
    last_kn = None
    for (speed_kn, way), figures in by_way.items():
        cells = []
        for figure in ("low", "mean"):
            if figure in figures:
                area = figures[figure]
                cells += [shown_out(area.out_nmi).removesuffix(" nmi"), _bare(words, area.fuel_l)]
            else:
                cells += ["", ""]
        rows.append(("" if speed_kn == last_kn else shown_speed(speed_kn), way, *cells))
        last_kn = speed_kn
    head = ("speed", "reach", "low nmi", f"low {unit}", "mean nmi", f"mean {unit}")
    meaning = (
        f"nmi: the longest way to the edge of what is drawn, over water; {unit}: what may be burned up to there, and "
        f"as much again where the way back counts. {words.sureness}."
    )
    return [*table(head, rows), wrapped(meaning, "  ")]


def _places(words: ReachWords, left_out: int) -> list[str]:
    """List the places in reach: those that she comes back from, then the others."""
    places = words.reach.places
    unit = words.units.volume_label
    back = with_docks([place for place in places if place.there_and_back])
    away = with_docks([place for place in places if not place.there_and_back])
    out = []
    if back:
        head = ["nmi", "time", "margin", "both", "back"]
        rows = [
            [
                *_run(words, p),
                _needed(words, p.fuel_there_and_back_l),
                _bare(words, p.aboard_on_return_low_l - words.boat.floor_l),
            ]
            for p, _ in back
        ]
        out += ["", "There and back, the reserve whole:", *_place_table(words, head, rows, back)]
        out.append(
            wrapped(
                "margin: above the reserve on arrival there; both: burned both ways; back: above the reserve when back "
                f"at {words.reach.start.name}, nothing taken in on the way; in {unit}, margin and back as low figures.",
                "  ",
            )
        )
    if away:
        head = ["nmi", "time", "margin", "burn"]
        rows = [[*_run(words, p), _needed(words, p.fuel_l)] for p, _ in away]
        title = "One way only, the way back would touch the reserve:"
        out += ["", wrapped(title), *_place_table(words, head, rows, away)]
        out.append(
            wrapped(f"margin: above the reserve on arrival, low figure; burn: up to there; both in {unit}.", "  ")
        )
    if left_out:
        more = "one more place is" if left_out == 1 else f"{left_out} more places are"
        only = "" if places else "None of them passes --kind and --refuel-only: "
        out += ["", wrapped(f"{only}{more if only else f'{more[0].upper()}{more[1:]}'} in reach, left out as asked.")]
    return out


def _place_table(
    words: ReachWords,
    head: Sequence[str],
    rows: Sequence[Sequence[str]],
    places: Sequence[tuple[InReach, Sequence[InReach]]],
) -> list[str]:
    """Put names and figures side by side; before a narrow terminal, figures first and all words in one column."""
    wide, narrow = [], []
    for row, (place, docks) in zip(rows, places, strict=True):
        fuel, more = words.fuel_there(place, docks), words.on_the_way(place)
        said = [] if fuel == "no" else [fuel if docks else f"refuel {fuel}"]
        wide.append((place.name, place.kind, *row, "; ".join([fuel, *more])))
        narrow.append((*row, "; ".join([f"{place.name}, {place.kind}", *said, *more])))
    lines = table(("place", "kind", *head, "refuel"), wide)
    folded = table((*head, "place, and fuel there"), narrow)
    return lines if max(map(len, lines)) <= terminal_width() and len(lines) <= len(folded) else folded


def _run(words: ReachWords, place: InReach) -> tuple[str, str, str]:
    return (
        shown_distance(place.distance_nmi).removesuffix(" nmi"),
        shown_duration(place.time_h),
        _bare(words, place.margin_low_l),
    )


def _bare(words: ReachWords, volume_l: float) -> str:
    return words.units.volume_down(volume_l).removesuffix(f" {words.units.volume_label}")


def _needed(words: ReachWords, volume_l: float) -> str:
    return words.units.volume_up(volume_l).removesuffix(f" {words.units.volume_label}")


def _turning_points(words: ReachWords) -> list[str]:
    """Tell the last docks: a sentence for one way out, a table for several that turn for the same dock."""
    points = words.reach.turning_points
    left_out = [wrapped(f"{line}.") for line in words.left_out_lines()]
    left_out = ["", *left_out] if left_out else []
    if not points:
        return [*(["", wrapped(line)] if (line := words.docks_line()) else []), *left_out]
    by_dock: dict[str, list[TurningPoint]] = {}
    for point in points:
        by_dock.setdefault(point.dock, []).append(point)
    heading = "Last docks on each way out; beyond these points none is left in reach with the reserve whole:"
    out = ["", wrapped(heading)]
    head = ("nmi", "time", "turn by", "on nmi", "on time", f"left low {words.units.volume_label}", "towards")
    for several in by_dock.values():
        lines = table(head, [words.turning_row(point) for point in several], indent="    ")
        if len(several) > 1 and max(map(len, lines)) <= terminal_width():
            out += [wrapped(f"- {words.turning_heading(several)}", "  "), *lines]
        else:
            out += [wrapped(f"- {words.turning_line(point)}", "  ") for point in several]
    return out + left_out
