"""Codes of S-57 in words: datums, restrictions, categories, and what becomes of each class of objects.

References
----------
.. [1] International Hydrographic Organization, *Transfer Standard for Digital Hydrographic Data*, S-57 edition 3.1,
   appendix A, object catalogue; read in the tables that GDAL carries (`s57objectclasses.csv`, `s57attributes.csv`,
   `s57expectedinput.csv`). Codes of its supplement, which those tables lack, are marked: from memory.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["DATUMS", "FUELS_ASSUMED", "HORIZONTAL_DATUMS", "RESERVED_FOR", "RESTRICTIONS", "UNUSED", "WGS84_DATUM"]

FUELS_ASSUMED = "which fuels it sells isn't charted: both are assumed; ask"
"""What the note of a dock begins with where its chart names no fuel."""

WGS84_DATUM = 2
HORIZONTAL_DATUMS: Mapping[int, str] = MappingProxyType(  # attribute HORDAT; those met most
    {1: "WGS 72", 2: "WGS 84", 3: "European 1950", 72: "NAD 27", 75: "NAD 83"}  # 72 and 75 from memory
)
DATUMS: Mapping[int, str] = MappingProxyType(  # attribute VERDAT
    {
        1: "mean low water springs",
        2: "mean lower low water springs",
        3: "mean sea level",
        4: "lowest low water",
        5: "mean low water",
        6: "lowest low water springs",
        7: "approximate mean low water springs",
        8: "Indian spring low water",
        9: "low water springs",
        10: "approximate lowest astronomical tide",
        11: "nearly lowest low water",
        12: "mean lower low water",
        13: "low water",
        14: "approximate mean low water",
        15: "approximate mean lower low water",
        16: "mean high water",
        17: "mean high water springs",
        18: "high water",
        19: "approximate mean sea level",
        20: "high water springs",
        21: "mean higher high water",
        22: "equinoctial spring low water",
        23: "lowest astronomical tide",
        24: "local datum",
        25: "International Great Lakes Datum 1985",
        26: "mean water level",
        27: "lower low water large tide",
        28: "higher high water large tide",
        29: "nearly highest high water",
        30: "highest astronomical tide",  # supplement, from memory
    }
)
RESTRICTIONS: Mapping[int, str] = MappingProxyType(  # attribute RESTRN
    {
        1: "anchoring prohibited",
        2: "anchoring restricted",
        3: "fishing prohibited",
        4: "fishing restricted",
        5: "trawling prohibited",
        6: "trawling restricted",
        7: "entry prohibited",
        8: "entry restricted",
        9: "dredging prohibited",
        10: "dredging restricted",
        11: "diving prohibited",
        12: "diving restricted",
        13: "no wake",
        14: "area to be avoided",
        15: "construction prohibited",
        16: "discharging prohibited",  # this and the following: supplement, from memory
        17: "discharging restricted",
        18: "exploration prohibited",
        19: "exploration restricted",
        20: "drilling prohibited",
        21: "drilling restricted",
        22: "removal of historical things prohibited",
        23: "transfer of cargo prohibited",
        24: "dragging prohibited",
        25: "stopping prohibited",
        26: "landing prohibited",
        27: "speed restricted",
    }
)
RESERVED_FOR: Mapping[int, str] = MappingProxyType(  # attribute CATREA
    {
        1: "offshore safety zone",
        4: "nature reserve",
        5: "bird sanctuary",
        6: "game preserve",
        7: "seal sanctuary",
        8: "degaussing range",
        9: "military area",
        10: "historic wreck",
        12: "safety zone of a navigational aid",
        14: "minefield",
        18: "swimming area",
        19: "waiting area",
        20: "research area",
        21: "dredging area",
        22: "fish sanctuary",
        23: "ecological reserve",
        24: "no wake area",
        25: "swinging area",
        26: "water skiing area",  # this and the following: supplement, from memory
        27: "environmentally sensitive sea area",
        28: "particularly sensitive sea area",
    }
)

_LAND_HAS_IT = "not used: the land areas carry it"
_ON_LAND = "not used: it stands on land"
_NO_BAR = "not used: it bars no boat"
_FOR_SHIPS = "not used: it guides ships, and a track is free to cross it"
UNUSED: Mapping[str, str] = MappingProxyType(
    {
        **dict.fromkeys(("COALNE", "CANBNK", "LAKSHR", "RIVBNK", "LNDRGN"), _LAND_HAS_IT),
        **dict.fromkeys(
            (
                "ADMARE",
                "AIRARE",
                "BUAARE",
                "BUISGL",
                "BUIREL",
                "CGUSTA",
                "CONVYR",
                "CRANES",
                "DRYDOC",
                "DYKCON",
                "FNCLNE",
                "FORSTC",
                "GRIDRN",
                "LNDELV",
                "LNDMRK",
                "PRDARE",
                "RAILWY",
                "ROADWY",
                "RUNWAY",
                "SILTNK",
                "SLOGRD",
                "SLOTOP",
                "SPRING",
                "SQUARE",
                "TUNNEL",
                "VEGATN",
            ),
            _ON_LAND,
        ),
        **dict.fromkeys(("CANALS", "LAKARE", "RIVERS", "TIDEWY", "DOCARE", "LOKBSN"), "not used: the depth areas rule"),
        **dict.fromkeys(
            ("DEPCNT", "SWPARE", "SBDARE", "SNDWAV"), "not used: the depth areas carry what a track needs of it"
        ),
        **dict.fromkeys(
            ("DWRTCL", "DWRTPT", "NAVLNE", "RADLNE", "RCRTCL", "RECTRC", "SUBTLN", "TSELNE", "TSSBND"),
            _FOR_SHIPS,
        ),
        **dict.fromkeys(
            ("M_NSYS", "M_ACCY", "M_CSCL", "M_HDAT", "M_HOPA", "M_NPUB", "M_PROD", "M_SREL"),
            "not used: about the chart, not the water",
        ),
        **dict.fromkeys(("$AREAS", "$COMPS", "$CSYMB", "$LINES", "$TEXTS"), "not used: about the chart, not the water"),
        **dict.fromkeys(("C_AGGR", "C_ASSO", "C_STAC"), "not used: it only ties objects together"),
        **dict.fromkeys(
            (
                "BERTHS", "CBLARE", "CBLSUB", "CHKPNT", "CONZNE", "COSARE", "CTRPNT", "CURENT", "CUSZNE", "DAYMAR",
                "DISMAR", "EXEZNE", "FERYRT", "FOGSIG", "FRPARE", "FSHGRD", "FSHZNE", "ICEARE", "LIGHTS", "LOCMAG",
                "MAGVAR", "OSPARE", "PILBOP", "PIPARE", "PIPSOL", "RADRFL", "RADRNG", "RADSTA", "RDOCAL", "RDOSTA",
                "RETRFL", "RSCSTA", "RTPBCN", "SEAARE", "SISTAT", "SISTAW", "STSLNE", "TOPMAR", "TS_FEB",
                "TS_PAD", "TS_PNH", "TS_PRH", "TS_TIS", "T_HMON", "T_NHMN", "T_TIMS", "ARCSLN", "ASLXIS",
            ),
            _NO_BAR,
        ),
    }
)  # fmt: skip
"""Classes that are counted and left alone, and why."""
