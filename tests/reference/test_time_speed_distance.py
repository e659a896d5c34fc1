"""Units, and time, speed and distance, against values from outside the project.

Each value carries its source and how it was had: seen (the number was read in the source), second hand (in a quotation
of it), practice (common in the trade, no published source) or memory (known, checked against the library beside it).
"""

from __future__ import annotations

import pytest
import scipy.constants
import scipy.stats

from routeplan.fuel import run_time_h, z_of
from routeplan.quantities import (
    LITRES_PER_IMPGAL,
    LITRES_PER_USGAL,
    METRES_PER_FT,
    METRES_PER_IN,
    METRES_PER_MI,
    METRES_PER_NMI,
    read_duration_h,
    read_speed_kn,
)


def test_units_are_the_published_ones():
    """Nautical mile 1852 m: SI brochure. Gallons 3.785411784 and 4.54609 l: NIST SP 811. Marks: memory. All exact."""
    assert METRES_PER_NMI == 1852
    assert LITRES_PER_USGAL == 3.785411784
    assert LITRES_PER_IMPGAL == 4.54609
    assert METRES_PER_FT == 0.3048
    assert METRES_PER_MI == 1609.344


def test_units_are_those_of_scipy():
    """scipy.constants (CODATA and NIST definitions), seen by running it; it multiplies inches out, so to 1e-15."""
    same = {"rel": 1e-15, "abs": 0}
    assert scipy.constants.nautical_mile == METRES_PER_NMI
    assert scipy.constants.gallon * 1000 == pytest.approx(LITRES_PER_USGAL, **same)
    assert scipy.constants.gallon_imp * 1000 == pytest.approx(LITRES_PER_IMPGAL, **same)
    assert scipy.constants.foot == pytest.approx(METRES_PER_FT, **same)
    assert scipy.constants.inch == pytest.approx(METRES_PER_IN, **same)
    assert scipy.constants.mile == pytest.approx(METRES_PER_MI, **same)
    assert read_speed_kn("1 m/s", "x") == pytest.approx(1 / scipy.constants.knot, rel=1e-15, abs=0)
    assert read_speed_kn("1 km/h", "x") == pytest.approx(scipy.constants.kmh / scipy.constants.knot, rel=1e-15, abs=0)


@pytest.mark.parametrize("confidence", [0.5, 0.51, 0.75, 0.9, 0.95, 0.975, 0.99, 0.999])
def test_z_is_that_of_scipy(confidence: float):
    """scipy.stats.norm.ppf, seen by running it; both claim full double precision, so 1e-12 is a thousandfold of it."""
    assert z_of(confidence) == pytest.approx(scipy.stats.norm.ppf(confidence), abs=1e-12)


@pytest.mark.parametrize(
    ("confidence", "z"), [(0.90, 1.2816), (0.95, 1.6449), (0.975, 1.9600), (0.99, 2.3263), (0.999, 3.0902)]
)
def test_z_is_that_of_the_printed_table(confidence: float, z: float):
    """Table of the standard normal distribution as printed in any textbook, memory; four decimals, so 5e-5."""
    assert z_of(confidence) == pytest.approx(z, abs=5.1e-5)


def test_210_miles_at_140_knots():
    """FAA-H-8083-25: 210 nm at 140 kn take 1 h 30; 1 h 45 at 120 kn make 210 nm. Second hand, exact."""
    assert run_time_h(210, 140) == 1.5
    assert run_time_h(210, 120) == read_duration_h("1 h 45", "x")


@pytest.mark.parametrize(("speed_kn", "published"), [(8, "38 d 2 h"), (20, "15 d 6 h")])
def test_7312_miles(speed_kn: float, published: str):
    """NOAA on Distances between U.S. Ports, 1978: 7312 nm take 38 d 2 h at 8 kn and 15 d 6 h at 20 kn. Seen; 1 h.

    The table gives whole hours without saying how it rounds: one hour covers either way.
    """
    assert run_time_h(7312, speed_kn) == pytest.approx(read_duration_h(published, "x"), abs=1)
