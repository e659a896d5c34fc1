"""The club's cruise: eight unlike boats that set out together."""

from __future__ import annotations

from typing import Final

__all__ = ["CRUISE"]

CRUISE: Final = """\
# The Tolvarrow boat club's summer cruise. Invented for the routeplan demo.
format = 1
name = "Summer cruise"
depart = "2026-07-04T08:30"
visit = [
    "Tolvarrow",
    {place = "Callowhythe", stay = "45min"},
    {place = "Wickmarrow", night = true, leave = "09:00"},
    "Tamblewick",
    "Tolvarrow",
]
pace = "together"
speed_kn = 18
gather = "15min"

[[boat]]
file = "boats/quick_errand.toml"
aboard = "full"
contact = "VHF 72"
people = 4

[[boat]]
file = "boats/quick_errand.toml"
name = "Half Promise"
aboard = "71gal"
contact = "VHF 72"
people = 3

[[boat]]
file = "boats/quick_errand.toml"
name = "Small Print"
aboard = "full"
people = 5

[[boat]]
file = "boats/salt_biscuit.toml"
aboard = "full"
contact = "VHF 72"
people = 2

[[boat]]
file = "boats/salt_biscuit.toml"
name = "Loose Change"
aboard = "185 l"
people = 2

[[boat]]
file = "boats/salt_biscuit.toml"
name = "Late Apology"
aboard = "200 l ± 8 l"
people = 3

[[boat]]
file = "boats/second_opinion.toml"
aboard = "430 l"
contact = "VHF 72"
people = 6

[[boat]]
file = "boats/second_opinion.toml"
name = "Fair Warning"
aboard = "full"
people = 4
"""
