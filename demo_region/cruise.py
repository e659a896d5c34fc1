"""The club's cruise: five unlike boats that set out together."""

from __future__ import annotations

from typing import Final

__all__ = ["CRUISE"]

CRUISE: Final = """\
# The Tolvarrow boat club's summer cruise. Invented for the routeplan demo.
format = 1
depart = "2026-07-04T08:30"
visit = ["Tolvarrow", "Callowhythe", "Wickmarrow", "Tamblewick", "Tolvarrow"]
pace = "together"
speed_kn = 18
gather = "15min"

[[boat]]
file = "boats/quick_errand.toml"
aboard = "full"

[[boat]]
file = "boats/quick_errand.toml"
name = "Half Promise"
aboard = "71gal"

[[boat]]
file = "boats/salt_biscuit.toml"
aboard = "full"

[[boat]]
file = "boats/salt_biscuit.toml"
name = "Loose Change"
aboard = "185 l"

[[boat]]
file = "boats/second_opinion.toml"
aboard = "430 l"
"""
