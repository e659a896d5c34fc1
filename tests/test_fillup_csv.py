"""Fill-ups as CSV: read with all bad rows at once, written without loss, in little memory."""

from __future__ import annotations

import io
import random
import tracemalloc
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import demo_region
import routeplan.fillup_csv
from layers.errors import InputError
from routeplan.fillup_cells import kept_fillup
from routeplan.fillup_csv import FillupFileError, Row, read_csv_fillups, write_csv
from routeplan.fillup_import import FillupImport
from routeplan.fillups import SEAS, SINCE, Entry, Fillup, SpeedRun
from routeplan.log_files import is_csv, read_fillups

if TYPE_CHECKING:
    from collections.abc import Iterable

    from routeplan.quantities import VolumeUnit

NOW = datetime(2026, 6, 30, 12, tzinfo=UTC)
SEED = 20261125  # of the mutations
HEADER = "boat,when,pumped_l,filled_to_full,note\n"
DEMO = demo_region.data_folder() / "fillups.csv"


def put(path: Path, text: str | bytes) -> Path:
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def rows_of(folder: Path, text: str | bytes, **more: Any) -> list[Row]:
    return list(read_csv_fillups(put(folder / "rows.csv", text), **more))


def written(entries: Iterable[Entry], unit: VolumeUnit = "l", *, history: bool = False) -> str:
    kept = list(entries)
    file = io.StringIO(newline="")
    assert write_csv(lambda: kept, file, unit, history=history) == len(kept)
    return file.getvalue()


def entry_of(fillup: Fillup, name: str = "bcdfghjk", **more: Any) -> Entry:
    return Entry(**{"entry": name, "entered": NOW, "fillup": fillup, **more})


def test_the_columns_are_those_that_users_were_promised():
    plain = Fillup(boat="A", when=NOW, pumped_l=10)
    promised = (
        "boat,when,dock,meter_used_l,gauge_before_l,pumped_l,filled_to_full,meter_reset,distance_run_nmi,"
        "engine_hours_h,sea,people,price_per_l,note"
    )
    assert written([entry_of(plain)]) == f"{promised}\nA,2026-06-30T12:00Z,,,,10,yes,yes,,,,,,\n"
    assert "pumped_usgal" in written([entry_of(plain)], "usgal")
    assert written([entry_of(plain)], "impgal").splitlines()[0].endswith("people,price_per_impgal,note")


def test_each_cell_is_read_for_what_it_is(tmp_path: Path):
    text = (
        "note,price_per_usgal,people,sea,speeds_run,since,engine_hours_h,distance_run_nmi,meter_reset,filled_to_full,"
        "pumped_usgal,gauge_before_usgal,meter2_used_usgal,meter_used_usgal,dock,when,boat\n"
        '"windy, late",7.45,3,Very Rough,4.5kn 0.3h; 26kn 1.9h,meter-replaced; reset-in-mid-tank,2.4,67.2,FALSE,1,'
        "47.1,0,24.1,22.7,Pier 7,2026-06-01T10:00:30+02:00,Test Boat\n"
    )
    (row,) = rows_of(tmp_path, text)
    assert row == Row(
        2,
        Fillup(
            boat="Test Boat",
            when=datetime(2026, 6, 1, 8, 0, 30, tzinfo=UTC),
            dock="Pier 7",
            meter_used_l=85.9288474968,  # 22.7, 24.1 and 47.1 times 3.785411784, to twelve digits
            meter2_used_l=91.2284239944,
            gauge_before_l=0,
            pumped_l=178.292895026,
            filled_to_full=True,
            meter_reset=False,
            since=("meter-replaced", "reset-in-mid-tank"),
            distance_run_nmi=67.2,
            engine_hours_h=2.4,
            speeds_run=(SpeedRun(speed_kn=4.5, time_h=0.3), SpeedRun(speed_kn=26, time_h=1.9)),
            sea="very rough",
            people=3,
            price_per_l=1.96808179007,  # 7.45 / 3.785411784
            note="windy, late",
        ),
    )


@pytest.mark.parametrize("unit", ["l", "usgal", "impgal"])
def test_the_demo_log_goes_out_and_in_without_loss(tmp_path: Path, unit: VolumeUnit):
    rows = list(read_csv_fillups(DEMO))
    assert len(rows) == len(DEMO.read_text(encoding="utf-8").splitlines()) - 1
    entries = [entry_of(row.fillup, f"b{n:07d}") for n, row in enumerate(rows)]
    once = written(entries, unit)
    back = rows_of(tmp_path, once)
    assert [row.fillup for row in back] == [row.fillup for row in rows]
    again = written([entry_of(row.fillup, f"b{n:07d}") for n, row in enumerate(back)], unit)
    assert again.encode() == once.encode()


def test_the_demo_logs_figures_come_back_as_they_stand_in_it():
    rows = [line.split(",") for line in DEMO.read_text(encoding="utf-8").splitlines()]
    out = [line.split(",") for line in written(read_fillups(DEMO).entries).splitlines()]
    assert out[0] == rows[0]

    def plain(cell: str) -> str:
        bare = cell.strip('"')
        return bare.rstrip("0").rstrip(".") if "." in bare and bare[0].isdigit() else bare

    def key(row: list[str]) -> tuple[str, str]:
        return row[0], row[1]

    expected = [[plain(cell) for cell in row] for row in sorted(rows[1:], key=key)]
    assert [[plain(cell) for cell in row] for row in out[1:]] == expected


def volumes() -> st.SearchStrategy[float | None]:
    return st.none() | st.floats(0, 100_000, allow_subnormal=False).filter(lambda v: v == 0 or v > 1e-6)


LINE = st.text(
    st.characters(exclude_categories=("C", "Z"), include_characters=' ,;"'), max_size=40
).map(lambda text: text.strip())  # fmt: skip
FILLUPS = st.builds(
    Fillup,
    boat=LINE.filter(bool),
    when=st.datetimes(datetime(1970, 1, 2), datetime(2199, 1, 1), timezones=st.just(UTC)),  # noqa: DTZ001
    dock=LINE,
    meter_used_l=volumes(),
    meter2_used_l=volumes(),
    gauge_before_l=volumes(),
    pumped_l=st.floats(0.001, 99_999),
    filled_to_full=st.booleans(),
    meter_reset=st.booleans(),
    since=st.lists(st.sampled_from(SINCE), unique=True).map(tuple),
    distance_run_nmi=st.none() | st.floats(0, 10_000),
    engine_hours_h=st.none() | st.floats(0, 10_000),
    speeds_run=st.lists(
        st.builds(SpeedRun, speed_kn=st.floats(0, 150), time_h=st.floats(1e-6, 10_000)), max_size=3
    ).map(tuple),
    sea=st.none() | st.sampled_from(SEAS),
    people=st.none() | st.integers(0, 1000),
    price_per_l=st.none() | st.floats(0.001, 1000),
    note=LINE,
)


@settings(max_examples=150, deadline=None)
@given(fillup=FILLUPS, unit=st.sampled_from(["l", "usgal", "impgal"]))
def test_whatever_a_fillup_holds_goes_out_and_in_without_loss(
    tmp_path_factory: pytest.TempPathFactory, fillup: Fillup, unit: VolumeUnit
):
    """Volumes and prices to the twelve digits that a log keeps, everything else to the last bit."""
    folder = tmp_path_factory.getbasetemp()
    (row,) = rows_of(folder, written([entry_of(fillup, replaces="zzzzzzzz", withdrawn=True)], unit, history=True))
    assert row.fillup == kept_fillup(fillup)
    assert row[2:] == ("bcdfghjk", NOW, "zzzzzzzz", True)


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_what_spreadsheets_write_is_read(tmp_path: Path, mark: bytes, end: str):
    text = end.join([HEADER.strip(), 'A,2026-06-01T10:00Z,10,TRUE,"caf\u00e9, ""late"""', "", ",,,,", ""])
    (row,) = rows_of(tmp_path, mark + text.encode())
    assert (row.line, row.fillup.note) == (2, 'caf\u00e9, "late"')


def test_a_zone_is_for_moments_that_have_no_offset(tmp_path: Path):
    text = HEADER + "A,2026-06-01T10:00,10,,\nA,2026-06-01T10:30Z,10,,\n"
    with pytest.raises(FillupFileError, match="line 2, when: does not say in which time zone"):
        rows_of(tmp_path, text)
    rows = rows_of(tmp_path, text, zone=ZoneInfo("Europe/Lisbon"))
    assert [row.fillup.when.hour for row in rows] == [9, 10]


BAD_CELLS = {
    ("pumped_l", "3,5"): "has a comma in its number",
    ("pumped_l", "1,200.5"): "has a comma in its number",
    ("pumped_l", "1 200"): "has a sign between its digits",
    ("pumped_l", "1_200"): "has a sign between its digits",
    ("pumped_l", "12 l"): "the column is in litres",
    ("pumped_l", "-3"): "must not be negative",
    ("pumped_l", "0"): "must be more than nothing",
    ("pumped_l", "nan"): "not a finite number",
    ("pumped_l", "-Infinity"): "not a finite number",
    ("pumped_l", "1e400"): "is not a",
    ("pumped_l", "1e9"): "more than 100000",
    ("pumped_l", "full"): "is not a number",
    ("pumped_l", ""): "is empty: it is required",
    ("pumped_l", "\u0661\u0662"): "is not a number",  # digits of another script
    ("boat", ""): "is empty: it is required",
    ("boat", "x" * 81): "longer than 80",
    ("when", "01/06/2026 10:00"): "not a date and time",
    ("when", "2026-06-01"): "no time of day",
    ("filled_to_full", "maybe"): "neither yes nor no",
    ("sea", "wavy"): "write calm, smooth, slight, moderate, rough or very rough",
    ("people", "2.5"): "not a whole number",
    ("people", "1001"): "more than 1000",
    ("since", "reset-forgoten"): "did you mean reset-forgotten",
    ("speeds_run", "26 for 2"): "not a speed and a time",
    ("speeds_run", "160kn 2h"): "more than 150",
    ("note", "two\nlines"): "one line of printable text",
    ("distance_run_nmi", "67 nmi"): "write the number alone",
    ("entry", "abc"): "eight letters and digits",
    ("withdrawn", "yes"): "no entry is replaced",
}


@pytest.mark.parametrize(("place", "why"), BAD_CELLS.items(), ids=lambda v: "-".join(v)[:30] if len(v) == 2 else "")
def test_a_bad_cell_is_named_with_line_column_and_value(tmp_path: Path, place: tuple[str, str], why: str):
    column, text = place
    cells = {"boat": "A", "when": "2026-06-01T10:00Z", "pumped_l": "10", column: text}
    quoted = ",".join(f'"{cell}"' for cell in cells.values())
    with pytest.raises(FillupFileError) as caught:
        rows_of(tmp_path, f"{','.join(cells)}\n{quoted}\n")
    (bad,) = caught.value.bad_lines
    assert (bad.line, bad.column) == (2, column)
    said = str(caught.value)
    assert why in said
    assert "\n" not in said
    assert f"line 2, {column}: " in said


def test_all_bad_rows_are_listed_at_once(tmp_path: Path):
    text = HEADER + "A,2026-06-01T10:00Z,-3,maybe,\nA,2026-06-02T10:00Z,10,yes\nA,2026-06-03T10:00Z,10,yes,\n,x,10,,\n"
    with pytest.raises(FillupFileError) as caught:
        rows_of(tmp_path, text)
    assert [(bad.line, bad.column) for bad in caught.value.bad_lines] == [
        (2, "pumped_l"),
        (2, "filled_to_full"),
        (3, ""),
        (5, "boat"),
        (5, "when"),
    ]
    assert str(caught.value).splitlines()[0].endswith("rows.csv: 5 faults; nothing was taken from it")


def test_thousands_of_bad_rows_are_counted_and_two_hundred_told(tmp_path: Path):
    with pytest.raises(FillupFileError) as caught:
        rows_of(tmp_path, HEADER + "A,2026-06-01T10:00Z,-3,yes,\n" * 3000)
    assert caught.value.count == 3000
    lines = str(caught.value).splitlines()
    assert len(lines) == 202
    assert lines[-1] == "  and 2800 more"


@pytest.mark.parametrize(
    ("header", "why"),
    [
        ("boat;when;pumped_l", "parted by semicolons"),
        ("boat\twhen\tpumped_l", "parted by tabs"),
        ("boat,when,pumped", "name it pumped_l, pumped_usgal or pumped_impgal"),
        ("boat,when,pumped_l,dokc", "did you mean dock?"),
        ("boat,when,pumped_l,gauge_before_usgal", "gauge_before_usgal: has another unit than pumped_l"),
        ("boat,when,pumped_l,price_per_usgal", "price_per_usgal: has another unit than pumped_l"),
        ("boat,when,pumped_l,dock,Dock", "is there 2 times"),
        ("boat,when,pumped_l,pumped_usgal", "is there 2 times"),
        ("boat,when", "has no column pumped_l or pumped_usgal or pumped_impgal"),
        ("boat,pumped_l", "has no column when"),
        ("boat,when,pumped_l,", "a column has no name"),
        ("A,2026-06-01T10:00Z,10", "is not a column that is known here"),
    ],
)
def test_a_header_that_means_something_else_is_refused(tmp_path: Path, header: str, why: str):
    with pytest.raises(FillupFileError, match=r"line 1|faults") as caught:
        rows_of(tmp_path, f"{header}\nA,2026-06-01T10:00Z,10\n")
    assert why in str(caught.value)


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "is empty"),
        (HEADER.encode(), "holds a header and no fill-up"),
        (b"\n\n", "names no columns"),
        (HEADER.encode("utf-16"), "UTF-16"),
        (HEADER.encode("utf-16-le"), "line 1: holds NUL bytes"),
        (HEADER.encode() + b"A,2026-06-01T10:00Z,10,yes,caf\xe9\n", r"line 2: is not text in UTF-8 \(byte 0xe9"),
        (HEADER.encode() + b"A,2026-06-01T10:00Z,10,yes,a\x00b\n", "line 2: holds NUL bytes"),
        (HEADER.encode() + b"x" * 70_000, "line 2: is longer than 65,536 bytes"),
        (HEADER.encode() + b'A,2026-06-01T10:00Z,10,yes,"late\n' + b"x,y\n" * 20, "line 2: a quoted text begins"),
        (HEADER.encode() + b'A,2026-06-01T10:00Z,10,yes,"late\n', "line 2: is not CSV"),
        (HEADER.encode() + b'A,2026-06-01T10:00Z,10,yes,"late"x\n', "line 2: is not CSV"),
    ],
)
def test_a_file_that_is_no_such_table_is_refused(tmp_path: Path, content: bytes, why: str):
    with pytest.raises(InputError, match=why) as caught:
        rows_of(tmp_path, content)
    assert "\n" not in str(caught.value)


def test_a_header_can_not_speak_to_the_terminal(tmp_path: Path):
    with pytest.raises(FillupFileError) as caught:
        rows_of(tmp_path, f"boat,when,pumped_l,\x1b[31m{'red' * 1000}\nA,2026-06-01T10:00Z,10,\n")
    assert "\x1b" not in str(caught.value)
    assert len(str(caught.value)) < 300 + len(str(tmp_path))


def test_no_spoiled_file_ends_in_anything_but_a_clear_refusal(tmp_path: Path):
    """The demo log with bytes exchanged, taken out or doubled, anywhere."""
    chance = random.Random(SEED)  # noqa: S311  # mutations, no secrets
    sound = DEMO.read_bytes()
    refused = 0
    for _ in range(300):
        spoiled = bytearray(sound[: chance.randrange(200, 3000)])
        for _ in range(chance.randrange(1, 4)):
            place = chance.randrange(len(spoiled))
            spoiled[place : place + chance.randrange(3)] = bytes([chance.choice(b',";\n\r\t\x00\xff\xe9-.e0 ')])
        said = ""
        try:
            rows_of(tmp_path, bytes(spoiled))
        except InputError as error:
            said = str(error)
        if said:
            refused += 1
            assert said.startswith(str(tmp_path / "rows.csv"))
            assert len(said.splitlines()) <= 202
    assert refused > 150  # a note or a dock's name may be spoiled unseen


def test_a_missing_file_and_a_folder_are_told_apart(tmp_path: Path):
    with pytest.raises(InputError, match="no such file"):
        list(read_csv_fillups(tmp_path / "none.csv"))
    with pytest.raises(InputError, match="is a folder"):
        list(read_csv_fillups(tmp_path))
    with pytest.raises(InputError, match="device or pipe"):
        list(read_csv_fillups(Path("/dev/null")))


def imported(folder: Path, text: str, history: Iterable[Entry] = ()) -> FillupImport:
    """Look at a file as an import does, with what a log holds."""
    kept = list(history)
    given = FillupImport(put(folder / "rows.csv", text), None, {}, NOW, sure=False, history=lambda: kept)
    given.look()
    assert given.document()["new"] == given.new
    return given


def counts(given: FillupImport) -> tuple[int, int, int, int]:
    return given.new, given.known, given.otherwise, given.past


A1 = Fillup(boat="A", when=datetime(2026, 6, 1, 10, tzinfo=UTC), pumped_l=10)
A2 = A1.model_copy(update={"when": A1.when + timedelta(days=1)})
TWO_ROWS = HEADER + "A,2026-06-01T10:00Z,10,yes,\nA,2026-06-02T10:00Z,10,yes,\n"


def test_what_the_log_has_already_is_left_out_and_counted(tmp_path: Path):
    assert counts(imported(tmp_path, TWO_ROWS)) == (2, 0, 0, 0)
    assert counts(imported(tmp_path, TWO_ROWS, [entry_of(A1)])) == (1, 1, 0, 0)
    other_note = A1.model_copy(update={"note": "windy"})
    assert counts(imported(tmp_path, TWO_ROWS, [entry_of(other_note)])) == (1, 1, 1, 0)
    twice = HEADER + "A,2026-06-01T10:00Z,10,yes,\n" * 2
    assert counts(imported(tmp_path, twice)) == (1, 1, 0, 0)


def test_what_was_corrected_or_withdrawn_since_does_not_come_back(tmp_path: Path):
    more = A1.model_copy(update={"pumped_l": 11.0})
    correction = entry_of(more, "ccccccc2", replaces="bcdfghjk")
    assert counts(imported(tmp_path, TWO_ROWS, [entry_of(A1), correction])) == (1, 1, 0, 1)
    withdrawal = entry_of(A1, "ccccccc2", replaces="bcdfghjk", withdrawn=True)
    assert counts(imported(tmp_path, TWO_ROWS, [entry_of(A1), withdrawal])) == (1, 1, 0, 1)


def test_other_figures_of_the_same_moment_are_a_bad_row(tmp_path: Path):
    more = A1.model_copy(update={"pumped_l": 11.0})
    with pytest.raises(FillupFileError, match=r"line 2, when: .*fillup add --replaces"):
        imported(tmp_path, TWO_ROWS, [entry_of(more)])
    with pytest.raises(FillupFileError, match="line 3, when"):
        imported(tmp_path, HEADER + "A,2026-06-01T10:00Z,10,yes,\nA,2026-06-01T10:00Z,11,yes,\n")


def test_rows_of_a_boat_are_in_order_of_time_and_not_ahead_of_it(tmp_path: Path):
    mixed = HEADER + "A,2026-06-02T10:00Z,10,yes,\nB,2026-06-01T10:00Z,10,yes,\n"
    assert imported(tmp_path, mixed).new == 2
    with pytest.raises(
        FillupFileError, match="line 3, when: is earlier than line 2, 2026-06-02T10:00Z, of the same boat"
    ):
        imported(tmp_path, HEADER + "A,2026-06-02T10:00Z,10,yes,\nA,2026-06-01T10:00Z,10,yes,\n")
    with pytest.raises(FillupFileError, match="line 2, when: lies in the future"):
        imported(tmp_path, HEADER + "A,2026-07-02T10:00Z,10,yes,\n")


def test_a_history_is_taken_with_its_names_or_not_at_all(tmp_path: Path):
    """A fill-up, one of another moment, a correction of the first, a withdrawal of the second, and it anew."""
    history = [
        entry_of(A2),
        entry_of(A1, "ccccccc2"),
        entry_of(A2.model_copy(update={"pumped_l": 11.0}), "ccccccc3", replaces="bcdfghjk"),
        entry_of(A1, "ccccccc4", replaces="ccccccc2", withdrawn=True),
        entry_of(A1.model_copy(update={"pumped_l": 12.0}), "ccccccc5"),
    ]
    text = written(history, history=True)
    given = imported(tmp_path, text)
    assert (given.new, given.corrections) == (5, 2)
    assert counts(imported(tmp_path, text, history)) == (0, 5, 0, 0)
    assert counts(imported(tmp_path, text, history[:3])) == (2, 3, 0, 0)
    lines = text.splitlines(keepends=True)
    with pytest.raises(FillupFileError, match=r"replaces: is neither in the log nor further up"):
        imported(tmp_path, "".join([lines[0], lines[3]]))
    with pytest.raises(FillupFileError, match=r"replaces: was replaced by ccccccc3 already"):
        imported(tmp_path, "".join([*lines[:4], lines[3].replace("ccccccc3", "ccccccc9")]))
    with pytest.raises(FillupFileError, match=r"entry: is in the log with other figures"):
        imported(tmp_path, text.replace(",10,", ",13,"), history)


def test_a_boat_that_is_new_to_the_log_and_nearly_known_is_pointed_out(tmp_path: Path):
    known = A1.model_copy(update={"boat": "Quick Errand"})
    given = imported(tmp_path, HEADER + "Quick Erand,2026-06-02T10:00Z,10,yes,\n", [entry_of(known)])
    assert any("'Quick Erand' is new to the log, which has 'Quick Errand'" in each for each in given.cautions)


def test_a_csv_file_is_a_log_too(tmp_path: Path):
    log = read_fillups(DEMO)
    assert log == read_fillups(DEMO)  # names are made anew, and are the same
    assert len({entry.entry for entry in log.entries}) == len(log.entries) == 80
    assert log.boats == ("Quick Errand", "Salt Biscuit", "Second Opinion", "Tall Story")
    assert (is_csv("A.CSV"), is_csv("a.db"), is_csv("postgresql://x/y.csv")) == (True, False, False)
    path = put(tmp_path / "twice.csv", "boat,when,pumped_l,entry\n" + "A,2026-06-01T10:00Z,10,bcdfghjk\n" * 2)
    with pytest.raises(InputError, match="line 3: names an entry that is further up"):
        read_fillups(path)


def test_memory_does_not_grow_with_the_file(tmp_path: Path):
    """A file of ten thousand rows is read in no more than is needed for the lines at hand."""
    path = put(tmp_path / "long.csv", HEADER + "A,2026-06-01T10:00Z,10,yes,something of a note\n" * 10_000)
    tracemalloc.start()
    try:
        assert sum(1 for _ in read_csv_fillups(path)) == 10_000
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 1_000_000  # bytes; the rows alone, kept, would be ten times that


def test_progress_rises_to_the_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(routeplan.fillup_csv, "_REPORT_ROWS", 10)
    path = put(tmp_path / "long.csv", HEADER + "A,2026-06-01T10:00Z,10,yes,\n" * 100)
    told: list[float] = []
    for _ in read_csv_fillups(path, progress=told.append):
        pass
    assert told == sorted(told)
    assert told[-1] == 1.0
    assert len(told) == 11
