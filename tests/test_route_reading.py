"""Routes read from GPX: what can't be one is refused in a line that names the point."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from layers import route_reading
from layers.errors import InputError
from layers.route_reading import read_route

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

HEAD = '<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">'


def rte(points: Iterable[tuple[object, object]], name: str = "") -> str:
    named = f"<name>{name}</name>" if name else ""
    written = "".join(f'<rtept lat="{lat}" lon="{lon}"/>' for lat, lon in points)
    return f"<rte>{named}{written}</rte>"


def put(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "run.gpx"
    path.write_text(text, encoding="utf-8")
    return path


GOOD = [(44, -38), (44.5, -38)]


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (rte([*GOOD, (95, -38)]), r"point 3: its latitude must be a number within 90 degrees \(got '95.0'\)"),
        (rte([(44, -38), ("NaN", -38)]), r"point 2: its latitude .*nan"),
        (rte([(44, -38), (44, "-inf")]), r"point 2: its longitude .*-inf"),
        (rte([(44, 181)]), r"point 1: its longitude .*181"),
        (rte([(44, -38), ("far north", -38)]), "is not a GPX file that can be read"),
        ('<rte><rtept lon="3"/></rte>', "is not a GPX file that can be read"),
        ("", "has no route"),
        (
            '<trk><trkseg><trkpt lat="1" lon="2"/></trkseg></trk><wpt lat="1" lon="2"/>',
            "no route; it has 1 track and 1 way",
        ),
        (rte([(44, -38)]), "one point only"),
        (rte([]), "has no points"),
        (rte([(44, -38)] * 7), "7 points, all of them in one spot"),
        (rte([(10, 180), (10, -180)]), "all of them in one spot"),
        (rte(GOOD, "A") + rte(GOOD, "B"), r"has 2 routes.*--route-name with one of 'A', 'B'"),
    ],
)
def test_what_is_no_route(body: str, said: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=said) as caught:
        read_route(put(tmp_path, f"{HEAD}{body}</gpx>"))
    assert "\n" not in str(caught.value)
    assert "run.gpx" in str(caught.value)


def test_entities_are_refused_and_a_file_cut_short_too(tmp_path: Path) -> None:
    bomb = f'<!DOCTYPE gpx [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]>{HEAD}{rte(GOOD, "&b;")}</gpx>'
    with pytest.raises(InputError, match="DOCTYPE or ENTITY"):
        read_route(put(tmp_path, bomb))
    whole = f"{HEAD}{rte(GOOD)}</gpx>"
    for length in (1, len(HEAD), len(whole) // 2, len(whole) - 4):
        with pytest.raises(InputError):
            read_route(put(tmp_path, whole[:length]))


def test_one_of_several_is_chosen_by_name_or_number(tmp_path: Path) -> None:
    path = put(
        tmp_path, HEAD + rte(GOOD, "Out") + rte(GOOD[::-1], "Home") + rte(GOOD, "Twice") + rte(GOOD, "Twice") + "</gpx>"
    )
    assert read_route(path, "home").points[0].position == (-38, 44.5)
    assert read_route(path, "2").name == "Home"
    assert read_route(path, " OUT ").notes == ("The file holds 4 routes; this is Out.",)
    for name, said in (
        ("Hom", "did you mean 'Home'"),
        ("7", "no route has this name"),
        ("Twice", "give its number, 3 or 4"),
    ):
        with pytest.raises(InputError, match=said):
            read_route(path, name)


def test_a_point_twice_in_a_row_counts_once(tmp_path: Path) -> None:
    route = read_route(put(tmp_path, f"{HEAD}{rte([(44, -38), (44, -38), (44.5, -38), (44, -38)])}</gpx>"))
    assert [point.position[1] for point in route.points] == [44, 44.5, 44]
    assert [point.kind for point in route.points] == ["start", "turn", "end"]
    assert route.notes == ("One point came twice in a row, and counted once.",)


def test_of_a_point_twice_the_one_with_a_name_is_taken(tmp_path: Path) -> None:
    named = '<rtept lat="44" lon="-38"><name>Gull Rock</name></rtept>'
    body = f'<rte><rtept lat="44" lon="-38"/>{named}<rtept lat="45" lon="-38"/></rte>'
    assert [point.name for point in read_route(put(tmp_path, f"{HEAD}{body}</gpx>")).points] == ["Gull Rock", "point 3"]


def test_far_too_many_points(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(route_reading, "MOST_POINTS", 1000)
    path = put(tmp_path, f"{HEAD}{rte((44 + i * 1e-5, -38) for i in range(1001))}</gpx>")
    with pytest.raises(InputError, match="has 1,001 points; the limit is 1,000"):
        read_route(path)
