"""The four boats of the demo, as the TOML files that a skipper would write."""

from __future__ import annotations

from typing import Final

__all__ = ["BOATS"]

BOATS: Final = {
    "quick_errand.toml": """\
# A 28 ft day boat with two outboards. Invented for the routeplan demo.
format = 1
name = "Quick Errand"
fuel = "gasoline"
length_overall_m = "28 ft 3 in"
draught_m = 0.9
air_draught_m = 2.9
cruising_speed_kn = 26
no_wake_kn = 5
display_units = "us"

[tank]
capacity_l = "96 gal"
unusable_l = "3 gal"
full_mark_l = "91 gal"

[reserve]
rule = "fraction"
value = 0.10

[burn]
speed_kn = [5, 7, 10, 18, 22, 26, 30, 34]
burn_lph = [9.5, 15.0, 30.0, 47.0, 54.5, 65.0, 81.0, 101.0]
idle_lph = 3.5
unsteady_kn = [10, 17]
sd_share = 0.06

[instruments]
aboard_sd_share = 0.03
full_mark_sd_share = 0.01
""",
    "salt_biscuit.toml": """\
# A 6.9 m day boat with one outboard. Invented for the routeplan demo.
format = 1
name = "Salt Biscuit"
fuel = "gasoline"
length_overall_m = 6.9
draught_m = 0.75
air_draught_m = 2.6
cruising_speed_kn = 24
no_wake_kn = 4.5
display_units = "metric"

[tank]
capacity_l = 230
unusable_l = 9
full_mark_l = 218

[reserve]
rule = "volume"
value = "30 l"

[burn]
speed_kn = [4.5, 6, 9, 17, 20, 24, 28, 31]
burn_lph = [4.2, 7.0, 14.5, 24.0, 27.5, 34.5, 44.5, 55.0]
idle_lph = 1.8
unsteady_kn = [9, 16]
sd_share = 0.07

[instruments]
aboard_sd_share = 0.04
full_mark_sd_share = 0.012
""",
    "second_opinion.toml": """\
# A 10.4 m diesel boat with a planing hull and one shaft. Invented for the routeplan demo.
format = 1
name = "Second Opinion"
fuel = "diesel"
length_overall_m = "10.4 m"
draught_m = 1.1
air_draught_m = 3.4
cruising_speed_kn = 18
no_wake_kn = 5
display_units = "metric"

[tank]
capacity_l = 520
unusable_l = 20
full_mark_l = 494

[reserve]
rule = "thirds"

[burn]
speed_kn = [5, 7, 9, 15, 18, 21, 24]
burn_lph = [5.0, 11.0, 24.0, 43.0, 51.0, 62.0, 78.0]
idle_lph = 2.2
unsteady_kn = [9, 14]
sd_share = 0.05

[instruments]
aboard_sd_share = 0.03
full_mark_sd_share = 0.01
""",
    "tall_story.toml": """\
# A 13 m motor cruiser with a deep keel and a tall mast. Invented for the routeplan demo.
format = 1
name = "Tall Story"
fuel = "diesel"
length_overall_m = "42 ft 8 in"
draught_m = 2.1
air_draught_m = 14.5
cruising_speed_kn = 8
no_wake_kn = 4.5
display_units = "imperial"

[tank]
capacity_l = "110 impgal"
unusable_l = "4 impgal"
full_mark_l = "104 impgal"

[reserve]
rule = "fraction"
value = 0.20

[burn]
speed_kn = [4.5, 6, 7, 8, 8.8]
burn_lph = [2.4, 4.6, 7.0, 11.0, 16.5]
idle_lph = 1.5
sd_share = 0.05

[instruments]
aboard_sd_share = 0.03
full_mark_sd_share = 0.01
""",
}
