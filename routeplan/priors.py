"""What is believed of a boat's instruments before her log says anything, each figure stated and symmetric.

They are judgements of ours, drawn from common practice, and weak: a dozen fill-ups outweigh them. The seasons that the
tests simulate draw their truth from the same figures.
"""

from __future__ import annotations

from typing import Final

__all__ = [
    "BURN_FACTOR_SD",
    "FULL_MARK_LOG_SD",
    "GAUGE_CALM_SD_SHARE",
    "GAUGE_LOW_END_SHARE",
    "GAUGE_LOW_SD_SHARE",
    "GAUGE_REACH_SHARE",
    "GAUGE_SCATTER_LOG_SD",
    "GAUGE_SCATTER_SHARE",
    "GAUGE_SETTLED_SHARE",
    "METER_FACTOR_DEGREES",
    "METER_FACTOR_SCALE",
    "METER_SCATTER_LOG_SD",
    "METER_SCATTER_SHARE",
    "ODD_SCALE_SHARE",
    "ODD_SHARE",
    "RESET_FORGOTTEN_SHARE",
    "RUN_SCATTER_LOG_SD",
    "RUN_SCATTER_SHARE",
    "START_ODD_SHARE",
]

# Meter factor: Student's t about 1, so that nine meters in ten lie within 5 % and a bad one isn't ruled out.
METER_FACTOR_DEGREES: Final = 4.0
METER_FACTOR_SCALE: Final = 0.0235  # share; 0.05 / 2.132, the 95 % quantile of t with 4 degrees of freedom
METER_SCATTER_SHARE: Final = 0.008  # share of what was used, median; one reading of one meter
METER_SCATTER_LOG_SD: Final = 0.5
FULL_MARK_LOG_SD: Final = 0.4  # about the boat's own full_mark_sd_share, which is the median

# Gauge: reading less level is a smooth curve that may lie on either side, widest in the last fifth of the tank.
GAUGE_LOW_SD_SHARE: Final = 0.07  # share of the capacity, up to GAUGE_LOW_END_SHARE
GAUGE_CALM_SD_SHARE: Final = 0.03  # share of the capacity, from GAUGE_SETTLED_SHARE on
GAUGE_LOW_END_SHARE: Final = 0.2
GAUGE_SETTLED_SHARE: Final = 0.4
GAUGE_REACH_SHARE: Final = 0.3  # share of the capacity over which the curve keeps its course
GAUGE_SCATTER_SHARE: Final = 0.012  # share of the capacity, median; one reading, apart from what it is rounded to
GAUGE_SCATTER_LOG_SD: Final = 0.5

BURN_FACTOR_SD: Final = 0.08  # share; a burn table is somebody's, in some load and sea
RUN_SCATTER_SHARE: Final = 0.04  # share, median; from one run to the next: load, sea, trim, growth
RUN_SCATTER_LOG_SD: Final = 0.5

RESET_FORGOTTEN_SHARE: Final = 0.03  # of fill-ups: the meter ran on although the log says that it was reset
ODD_SHARE: Final = 0.03  # of fill-ups: something else is wrong, a slip of the pen or a fill-up that nobody wrote down
START_ODD_SHARE: Final = 0.15  # the first sum of a log leans on a full tank and a reset that it doesn't tell of
ODD_SCALE_SHARE: Final = 0.15  # share of the capacity: scale of the Cauchy density by which an odd sum may be off
