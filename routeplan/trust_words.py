"""Whether a region can be trusted, as a skipper is told: text, document, and the layer that a map draws."""

from __future__ import annotations

import textwrap
from collections import Counter
from typing import TYPE_CHECKING, Any

import shapely

from layers.checking import build_layer
from layers.findings_kinds import GROUPS, KINDS, group_of, kind_of
from layers.plane import Plane
from layers.schema import COMPUTED
from routeplan.console import holding_lines, source_lines, terminal_width, wrapped
from routeplan.documents import region_document
from routeplan.places import write_position
from routeplan.units_shown import shown_distance

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from geopandas import GeoDataFrame

    from layers import Finding, Region
    from layers.findings_kinds import Group
    from routeplan.trust import Trust

__all__ = [
    "findings_layer",
    "looked_with",
    "map_notes",
    "tell_strictly",
    "tell_trust",
    "trust_document",
    "verdict_line",
    "verdict_title",
]

_VERDICTS = {
    "not yet": "don't trust it yet",
    "with care": "trust it with care",
    "nothing against it": "nothing was found that speaks against trusting it",
}
_BRIEFLY = {
    "aground": "could put you aground",
    "fuel": "could leave you without fuel",
    "other": "may mislead a plan",
}
_LIMITS = (
    "This looks at the data alone: a rock that nobody charted shows nowhere. Check official charts of these waters, "
    "and call the docks."
)
_WIDEST = 110  # characters: longer lines are hard to follow


def verdict_line(region: Region, trust: Trust) -> str:
    """Say in a sentence or two whether a region can be trusted, and what was found, by kind.

    Parameters
    ----------
    region
        The region.
    trust
        What was found.

    Returns
    -------
    One paragraph.
    """
    return f"{verdict_title(region, trust)}. {_found(trust)}{_listed(_by_kind(trust))}."


def verdict_title(region: Region, trust: Trust) -> str:
    """Say in a few words whether a region can be trusted.

    Parameters
    ----------
    region
        The region.
    trust
        What was found.

    Returns
    -------
    Its name and the verdict.
    """
    return f"{region.about.name}: {_VERDICTS[trust.verdict]}"


def map_notes(trust: Trust) -> tuple[str, ...]:
    """Say above and beside a map what was found.

    Parameters
    ----------
    trust
        What was found.

    Returns
    -------
    How many findings could do what; how many there are of each kind; the boat that was looked for.
    """
    groups: Counter[Group] = Counter()
    for finding in trust.findings:
        groups[group_of(finding)] += finding.count
    first = ", ".join(f"{count} {_BRIEFLY[group]}" for group, count in groups.items())
    kinds = [f"{_listed(_by_kind(trust)).removeprefix(': ')}."] if trust.findings else []
    return f"{_found(trust)}{f': {first}' if first else ''}.", *kinds, looked_with(trust)


def looked_with(trust: Trust) -> str:
    """Say with which boat's eyes the water was looked at.

    Parameters
    ----------
    trust
        What was found.

    Returns
    -------
    One sentence.
    """
    boat, margins, units = trust.boat, trust.margins, trust.boat.units
    size = f"draught {units.depth_up(boat.draught_m)}, height {units.depth_up(boat.air_draught_m)}"
    who = (
        f"a small boat ({size}, both assumed; --boat FILE takes yours)" if trust.is_assumed else f"{boat.name} ({size})"
    )
    return (
        f"What is out of reach is so for {who} with {units.depth_up(margins.under_keel_m)} under the keel, "
        f"{units.room(margins.standoff_m)} off everything, and places up to {shown_distance(margins.snap_nmi)} from "
        "such water."
    )


def tell_trust(region: Region, trust: Trust) -> str:
    """Tell whether a region can be trusted.

    Parameters
    ----------
    region
        The region.
    trust
        What was found.

    Returns
    -------
    Text of several lines: the verdict first, then what could put a boat aground, then the rest; what the region holds
    at the end.
    """
    out = [wrapped(verdict_line(region, trust))]
    for group, kinds in _in_groups(trust.findings):
        out += ["", f"{GROUPS[group][0].upper()}{GROUPS[group][1:]}:"]
        for kind, findings in kinds:
            shared = _shared(findings)
            head = _counted(kind, sum(finding.count for _, finding in findings))
            out.append(wrapped(f"{head}{f': {shared}' if shared else ''}", "  "))
            out += [_line(number, finding, shared) for number, finding in findings]
    out += ["", wrapped(looked_with(trust)), "", *holding_lines(region), *source_lines(region), "", wrapped(_LIMITS)]
    return "\n".join(out)


def tell_strictly(trust: Trust) -> str:
    """Say in one line what is to be mended before a region passes.

    Parameters
    ----------
    trust
        What was found; at least one thing.

    Returns
    -------
    The gravest finding and how many more there are.
    """
    first = trust.findings[0]
    more = f", and {trust.count - first.count} more" if trust.count > first.count else ""
    return f"{_who(first)}: {first.problem}{more}"


def trust_document(region: Region, trust: Trust) -> dict[str, Any]:
    """Make the document of `region check --json`.

    Parameters
    ----------
    region
        The region.
    trust
        What was found.

    Returns
    -------
    What `region_document` holds, with the verdict, the counts by kind and the boat that the water was looked at for.
    """
    counts = [{"danger": group, "kind": kind, "count": count} for (group, kind), count in trust.counts.items()]
    more = {
        "verdict": trust.verdict,
        "counts": counts,
        "looked_with": {
            "boat": trust.boat.name,
            "assumed": trust.is_assumed,
            "draught_m": trust.boat.draught_m,
            "air_draught_m": trust.boat.air_draught_m,
            **trust.margins.model_dump(mode="json"),
        },
    }
    return region_document(region, trust.findings, more)


def findings_layer(region: Region, trust: Trust) -> GeoDataFrame:
    """Make the layer that a map draws: each finding with its number in the list.

    Parameters
    ----------
    region
        The region.
    trust
        What was found.

    Returns
    -------
    The `findings` layer of `layers.COMPUTED`; what has no place of its own stands for the whole extent.
    """
    plane = Plane(region.about.extent)
    everywhere = plane.wrapped(shapely.box(*plane.unwrapped_extent))
    rows, shapes = [], []
    for number, finding in enumerate(trust.findings, start=1):
        group = group_of(finding)
        placed = finding.position is not None
        rows.append(
            {
                "order": number,
                "danger": group,
                "kind": kind_of(finding).many,
                "everywhere": not placed,
                "title": finding.name or (_who(finding) if finding.row else _kind_title(finding)),
                "text": "\n".join(filter(None, [_sentence(finding.problem), _sentence(finding.remedy)])),
            }
        )
        shapes.append(_drawable(finding) if placed else everywhere)
    return build_layer(COMPUTED["findings"], rows, shapes)


def _drawable(finding: Finding) -> Any:
    """[deg] Keep a point, a line or an area as it is; of anything else, keep a point."""
    shape = finding.shape
    plain = shape.geom_type in {"Point", "LineString", "MultiLineString", "Polygon", "MultiPolygon"}
    return shape if plain and shape.is_valid else shapely.Point(finding.position)


def _in_groups(
    findings: Sequence[Finding],
) -> Iterator[tuple[Group, list[tuple[str, list[tuple[int, Finding]]]]]]:
    """Yield the groups with their kinds, and these with their findings and the numbers of those."""
    for group in GROUPS:
        kinds: dict[str, list[tuple[int, Finding]]] = {}
        for number, finding in enumerate(findings, start=1):
            if group_of(finding) == group:
                kinds.setdefault(finding.kind, []).append((number, finding))
        if kinds:
            yield group, list(kinds.items())


def _found(trust: Trust) -> str:
    return f"{trust.count or 'No'} finding{'' if trust.count == 1 else 's'}"


def _listed(counts: Mapping[str, int]) -> str:
    return f": {', '.join(_counted(kind, count) for kind, count in counts.items())}" if counts else ""


def _by_kind(trust: Trust) -> dict[str, int]:
    total: dict[str, int] = {}
    for (_, kind), count in trust.counts.items():
        total[kind] = total.get(kind, 0) + count
    return total


def _counted(kind: str, count: int) -> str:
    words = KINDS.get(kind, KINDS["remark"])
    return f"{count} {words.one if count == 1 else words.many}"


def _shared(findings: Sequence[tuple[int, Finding]]) -> str:
    """Return what is to be done about most of some findings, to be said once."""
    remedies = Counter(finding.remedy for _, finding in findings if finding.remedy)
    remedy, count = remedies.most_common(1)[0] if remedies else ("", 0)
    return remedy if count > 1 and (count > 2 or count == len(findings)) else ""


def _line(number: int, finding: Finding, shared: str) -> str:
    at = "" if finding.position is None else f"{write_position(finding.position)}  "
    remedy = f". {_sentence(finding.remedy)}" if finding.remedy and finding.remedy != shared else ""
    indent = f"{number:>5}  "
    width = max(40, min(_WIDEST, terminal_width()))
    whole_layer = not finding.row and not finding.name and at  # the heading and the place say it all
    text = f"{finding.problem if whole_layer else f'{_who(finding)}: {finding.problem}'}{remedy}"
    return textwrap.fill(
        text,
        width,
        initial_indent=indent + at,
        subsequent_indent=" " * len(indent),
        break_long_words=False,
        break_on_hyphens=False,
    )


def _who(finding: Finding) -> str:
    row = f"{finding.layer} row {finding.row}" if finding.row else finding.layer
    return f"{finding.name} ({row})" if finding.name else row


def _kind_title(finding: Finding) -> str:
    kind = kind_of(finding).one
    title = kind if finding.position else f"{finding.layer}: {kind}"
    return title[0].upper() + title[1:]


def _sentence(text: str) -> str:
    return f"{text[0].upper()}{text[1:].rstrip('.')}." if text else ""
