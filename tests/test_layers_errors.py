"""Errors carry data and read as lines."""

from __future__ import annotations

import pytest

from layers import BadRow, InputError, LayersError, NeverOpensError, RouteplanError


def test_the_tree():
    assert issubclass(LayersError, InputError)
    assert issubclass(InputError, RouteplanError)
    assert issubclass(NeverOpensError, RouteplanError)


def test_an_input_error_is_one_line_whatever_the_value():
    error = InputError("docks.csv, row 3", "must be\na number", value="x\ny" * 100, remedy="mend\tit")
    assert "\n" not in str(error)
    assert str(error).startswith("docks.csv, row 3: must be a number (got ")
    assert str(error).endswith("): mend it")
    assert len(str(error)) < 200


def test_an_input_error_keeps_its_data():
    error = InputError("tank.capacity_l", "must be above 0 l", value=-1.0, remedy="check the label")
    assert (error.where, error.problem, error.value, error.remedy) == (
        "tank.capacity_l",
        "must be above 0 l",
        -1.0,
        "check the label",
    )


@pytest.mark.parametrize("value", [0, 0.0, False, ""])
def test_a_falsy_value_is_quoted_too(value: object):
    assert f"(got {value!r})" in str(InputError("here", "is wrong", value=value))


def test_a_bad_row_says_layer_row_column_rule_and_value():
    row = BadRow("docks", 12, "fuels", "petrol", "must be gasoline or diesel")
    assert str(row) == "layer docks, row 12, fuels: must be gasoline or diesel (got 'petrol')"
    assert str(BadRow("land", 0, "file", "", "is empty")) == "layer land, file: is empty"
    assert str(BadRow("region.toml", 0, "currency", "eu", "is wrong")) == "region.toml, currency: is wrong (got 'eu')"


def test_one_bad_row_is_one_line_and_more_are_counted():
    row = BadRow("docks", 12, "fuels", "", "is missing")
    assert str(LayersError("here", [row])) == "here: layer docks, row 12, fuels: is missing"
    lines = str(LayersError("here", [row, row, row])).splitlines()
    assert lines[0] == "here: 3 bad entries"
    assert lines[1:] == ["  layer docks, row 12, fuels: is missing"] * 3


def test_bad_rows_are_carried_as_a_tuple():
    row = BadRow("docks", 12, "fuels", "", "is missing")
    assert LayersError("here", [row]).bad_rows == (row,)
