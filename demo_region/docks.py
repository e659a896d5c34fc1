"""The fuel docks of the invented coast, unlike one another in everything that decides a refuel stop."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from demo_region.shore import Shore

__all__ = ["DOCKS", "Dock", "build_docks", "deep_shores_nmi"]


@dataclass(frozen=True, kw_only=True)
class Dock:
    """What is known of one fuel dock, as its row of the docks layer tells it; None where nobody knows.

    Parameters
    ----------
    harbour
        The waypoint that it belongs to.
    name
        Its own name.
    near_nmi
        [nmi] About where it stands on the board; the water's edge nearest to it is taken.
    fuels
        What it sells.
    hours
        OSM opening_hours syntax.
    gasoline, diesel
        [EUR per l] Prices.
    depth_m
        [m] Charted depth alongside.
    length_m
        [m] Longest boat.
    pumps, lpm
        Number of pumps, and litres per minute of each.
    largest_l
        [l] Largest sale.
    ethanol
        Share of ethanol in the gasoline.
    members
        True where only members are served.
    pay, vhf, confirmed, note
        How to pay, the radio channel, the day somebody last made sure of all this, and what else there is to know.
    reachable
        False for the docks that are there to show why a dock can't be reached.
    """

    harbour: str
    name: str
    near_nmi: tuple[float, float]
    fuels: str = "gasoline,diesel"
    hours: str | None = "Mo-Su 08:00-18:00"
    gasoline: float | None = None
    diesel: float | None = None
    depth_m: float | None = 2.5
    length_m: float | None = 14.0
    pumps: int | None = 1
    lpm: float | None = 45.0
    largest_l: float | None = None
    ethanol: float | None = 0.05
    members: bool | None = False
    pay: str | None = "card"
    vhf: str | None = "12"
    confirmed: str | None = "2026-06-12"
    note: str | None = None
    reachable: bool = True

    def row(self) -> dict[str, Any]:
        """Say the dock as the docks layer does.

        Returns
        -------
        dict
            Values by column.
        """
        return {
            "name": self.name,
            "fuels": self.fuels,
            "opening_hours": self.hours,
            "price_gasoline_per_l": self.gasoline,
            "price_diesel_per_l": self.diesel,
            "ethanol_share": self.ethanol if "gasoline" in self.fuels else None,
            "depth_m": self.depth_m,
            "max_length_m": self.length_m,
            "pumps": self.pumps,
            "pump_lpm": self.lpm,
            "largest_sale_l": self.largest_l,
            "payment": self.pay,
            "members_only": self.members,
            "vhf": self.vhf,
            "phone": None,
            "confirmed_on": self.confirmed,
            "note": self.note,
        }


# fmt: off
DOCKS: Final = (
    # The west: round the bay where the showpiece run begins.
    Dock(
        harbour="Tolvarrow", name="Tolvarrow Fuel Quay", near_nmi=(10.4, 70.1), hours="Mo-Su 07:00-19:00",
        gasoline=1.94, diesel=1.68, depth_m=3.2, length_m=18, pumps=2, lpm=60, confirmed="2026-06-28",
    ),
    Dock(
        harbour="Quernmouth", name="Quernmouth Jetty", near_nmi=(2.9, 58.4), fuels="gasoline", gasoline=2.12,
        depth_m=1.8, length_m=10, lpm=30, hours="Mo-Sa 09:00-17:00", pay="cash", confirmed="2025-08-30",
    ),
    Dock(
        harbour="Bressaval", name="Bressaval Harbour Pumps", near_nmi=(12.4, 56.0), gasoline=1.99, diesel=1.71,
        hours="Mo-Fr 07:30-18:30; Sa-Su 08:00-20:00", pumps=2, confirmed="2026-06-20",
    ),
    Dock(
        harbour="Sorrelhythe", name="Sorrelhythe Old Pump", near_nmi=(21.6, 56.4), fuels="gasoline", gasoline=1.71,
        lpm=None, pumps=None, hours="Mo-Su 08:00-17:00", vhf=None, confirmed="2019-07-14",
        note="Price and hours are as old as the confirmation; call first.",
    ),
    Dock(
        harbour="Quenmoor", name="Quenmoor Slip Pump", near_nmi=(25.1, 60.1), fuels="gasoline", gasoline=2.02,
        depth_m=1.6, length_m=7.5, lpm=30, confirmed="2026-05-17", note="Turning room for small boats only.",
    ),
    Dock(
        harbour="Kestorin", name="Kestorin Fuel Pontoon", near_nmi=(28.5, 70.3), gasoline=1.97, diesel=1.70,
        hours="Mo-Su 08:00-20:00", lpm=50, confirmed="2026-06-25",
    ),
    Dock(
        harbour="Pellanore", name="Pellanore Basin Pumps", near_nmi=(33.6, 76.1), gasoline=1.93, diesel=1.66,
        hours="Mo-Sa 07:00-19:00; Su off", depth_m=2.8, confirmed="2026-06-02",
    ),
    Dock(
        harbour="Ullinore", name="Ullinore Fjordhead Fuel", near_nmi=(36.9, 87.4), gasoline=2.16, diesel=1.84,
        hours="May-Sep: Mo-Su 09:00-17:00", depth_m=2.2, confirmed="2026-05-09",
        note="Season only; the road brings the fuel.",
    ),
    Dock(
        harbour="Marrabeth", name="Marrabeth Island Pump", near_nmi=(34.2, 64.6), fuels="gasoline", gasoline=2.21,
        hours="Mo-Su 10:00-16:00", depth_m=1.9, length_m=11, lpm=35, largest_l=250, confirmed="2025-09-12",
    ),
    Dock(
        harbour="Drovessa", name="Drovessa Fishermen's Pump", near_nmi=(51.2, 64.9), fuels="diesel", diesel=1.58,
        hours="24/7", lpm=80, depth_m=3.5, length_m=24, pay="card terminal", confirmed="2026-04-30",
        note="Diesel only.",
    ),
    Dock(
        harbour="Jessaby", name="Jessaby Boat Club Pump", near_nmi=(52.0, 54.6), fuels="gasoline", gasoline=1.79,
        members=True, hours="Mo-Su 08:00-20:00", depth_m=2.1, length_m=12, confirmed="2026-06-01",
        note="Club members only.",
    ),
    Dock(
        harbour="Tamblewick", name="Tamblewick Fuel Berth", near_nmi=(56.6, 66.4), gasoline=1.96, diesel=1.69,
        hours="Mo-Su 08:00-19:00", pumps=2, confirmed="2026-06-18",
    ),
    Dock(
        harbour="Durrimouth", name="Durrimouth River Pump", near_nmi=(66.4, 50.0), fuels="gasoline", gasoline=2.05,
        depth_m=1.0, length_m=9, hours="Mo-Su 09:00-18:00", lpm=30, confirmed="2024-06-30",
        note="Behind the bar; shallow alongside.",
    ),
    Dock(
        harbour="Wickmarrow", name="Wickmarrow Harbour Fuel", near_nmi=(65.6, 35.3), gasoline=1.98, diesel=1.72,
        hours="Mo-Su 07:30-19:30", depth_m=3.0, length_m=16, confirmed="2026-06-22",
    ),
    Dock(
        harbour="Tangleholt", name="Tangleholt Strand Pump", near_nmi=(17.7, 67.4), fuels="gasoline",
        gasoline=1.90, depth_m=1.6, length_m=9, lpm=25, confirmed="2025-05-05", reachable=False,
        note="Behind a ledge that dries for more than a mile.",
    ),
    Dock(
        harbour="Lunnaquay", name="Lunnaquay Lagoon Pump", near_nmi=(22.6, 73.6), fuels="gasoline", gasoline=1.89,
        depth_m=1.5, length_m=9, lpm=25, confirmed="2024-09-01", reachable=False,
        note="Inside the lagoon, which has no way to the sea.",
    ),
    # The islands west of the cape.
    Dock(
        harbour="Callowhythe", name="Callowhythe Fuel Pier", near_nmi=(49.1, 29.5), gasoline=2.04, diesel=1.77,
        hours="Mo-Su 07:00-20:00", depth_m=3.4, length_m=18, pumps=2, lpm=55, confirmed="2026-06-26",
    ),
    Dock(
        harbour="Norravale", name="Norravale Stage", near_nmi=(54.4, 35.3), fuels="gasoline", hours=None,
        gasoline=None, depth_m=None, length_m=None, pumps=None, lpm=None, ethanol=None, members=None, pay=None,
        vhf=None, confirmed=None, note="Seen from a passing boat; nothing else is known.",
    ),
    Dock(
        harbour="Skendle", name="Skendle Cove Pump", near_nmi=(41.4, 19.9), fuels="gasoline", gasoline=1.88,
        lpm=25, hours="Mo-Su 08:00-18:00", depth_m=2.0, confirmed="2021-08-03",
    ),
    Dock(
        harbour="Eskerun", name="Eskerun Store", near_nmi=(15.8, 19.8), fuels="gasoline", gasoline=2.48, lpm=15,
        largest_l=120, hours="Mo-Sa 10:00-12:00,14:00-17:00", depth_m=1.7, length_m=10, pay="cash",
        confirmed="2025-06-21", note="Sold by the drum; the far islands' only pump.",
    ),
    # The cape.
    Dock(
        harbour="Averlock", name="Averlock Yacht Club Fuel", near_nmi=(69.9, 21.2), members=True, gasoline=1.85,
        diesel=1.62, hours="Mo-Su 08:00-20:00", depth_m=2.6, length_m=15, confirmed="2026-06-10",
        note="Members of the club only.",
    ),
    Dock(
        harbour="Grathow", name="Grathow Pilot Station", near_nmi=(75.8, 12.6), fuels="diesel", diesel=1.66,
        hours="24/7", lpm=90, depth_m=3.8, length_m=25, confirmed="2026-06-15", note="Diesel only.",
    ),
    Dock(
        harbour="Thrandel", name="Thrandel Beach Pump", near_nmi=(78.1, 14.8), fuels="gasoline", gasoline=1.99,
        depth_m=0.7, length_m=7, lpm=30, hours="Mo-Su 08:00-20:00", confirmed="2026-05-28",
        note="Dinghies only: it all but dries.",
    ),
    Dock(
        harbour="Hesterquay", name="Hesterquay Town Pump", near_nmi=(78.8, 21.6), gasoline=1.72, diesel=1.52,
        hours="Mo-Fr 07:00-12:00; Sa-Su 08:00-18:00", depth_m=3.0, length_m=16, pumps=2, lpm=60,
        confirmed="2026-06-27",
        note="Cheap, and shut on weekday afternoons. No wake from the heads to the quay.",
    ),
    Dock(
        harbour="Ollerhythe", name="Ollerhythe Summer Pontoon", near_nmi=(83.1, 25.2), fuels="gasoline",
        gasoline=2.08, hours="Jul 15-Sep 10: Mo-Su 09:00-19:00", depth_m=2.2, length_m=12, confirmed="2026-03-29",
        note="Opens in the middle of July.",
    ),
    Dock(
        harbour="Corrigale", name="Corrigale Fuel Quay", near_nmi=(79.2, 32.4), gasoline=2.01, diesel=1.74,
        hours="Mo-Su 08:00-18:00", depth_m=2.9, confirmed="2026-06-09",
    ),
    # The gulf east of the cape.
    Dock(
        harbour="Larkhythe", name="Larkhythe Fuel Berth", near_nmi=(95.2, 36.6), gasoline=2.03, diesel=1.76,
        hours="Mo-Su 08:00-19:00", depth_m=3.1, length_m=17, pumps=2, lpm=50, confirmed="2026-06-24",
    ),
    Dock(
        harbour="Zennimore", name="Zennimore Landing", near_nmi=(96.4, 43.2), fuels="gasoline", gasoline=2.10,
        hours="Mo-Sa 08:00-17:00; Su,PH off", depth_m=2.0, length_m=12, lpm=35, confirmed="2026-04-18",
    ),
    Dock(
        harbour="Harrowick", name="Harrowick Quay Diesel", near_nmi=(106.0, 50.8), fuels="diesel", diesel=1.64,
        hours="Mo-Sa 06:00-18:00", lpm=70, depth_m=3.3, length_m=22, confirmed="2026-02-11",
    ),
    Dock(
        harbour="Vellistrand", name="Vellistrand Fuel Pontoon", near_nmi=(88.8, 62.2), gasoline=1.95, diesel=1.67,
        hours="Mo-Su 08:00-20:00", pumps=2, confirmed="2026-06-19",
    ),
    Dock(
        harbour="Orrendale", name="Orrendale Wharf", near_nmi=(93.7, 72.6), fuels="gasoline", gasoline=2.00,
        hours="Tu-Su 09:00-18:00", depth_m=2.3, length_m=12, lpm=40, confirmed="2025-10-04",
    ),
    Dock(
        harbour="Skellimore", name="Skellimore Inlet Fuel", near_nmi=(105.9, 85.3), gasoline=2.18, diesel=1.86,
        hours="Apr-Oct: Mo-Su 09:00-18:00", depth_m=2.4, confirmed="2026-04-25",
    ),
    Dock(
        harbour="Brimmerquay", name="Brimmerquay Basin Fuel", near_nmi=(110.1, 79.9), gasoline=1.89, diesel=1.63,
        hours="Mo-Su 08:00-21:00", depth_m=4.0, length_m=20, pumps=3, lpm=55, confirmed="2026-06-23",
        note="Inside the lock.",
    ),
    Dock(
        harbour="Gannamoor", name="Gannamoor Stage Pumps", near_nmi=(118.0, 73.0), fuels="gasoline", gasoline=2.06,
        depth_m=2.2, length_m=13, hours="Mo-Su 08:30-18:30", confirmed="2026-05-30",
    ),
    Dock(
        harbour="Pellowick", name="Pellowick Sailing Club", near_nmi=(116.4, 70.3), fuels="gasoline",
        gasoline=1.82, members=True, depth_m=2.0, length_m=11, hours="Sa-Su 10:00-17:00", confirmed="2025-07-19",
        note="Club members only.",
    ),
    # The far east: round the bay where the showpiece run ends.
    Dock(
        harbour="Ettermoy", name="Ettermoy Fuel Quay", near_nmi=(135.4, 78.0), gasoline=1.96, diesel=1.69,
        hours="Mo-Su 07:00-21:00", depth_m=3.0, length_m=18, pumps=2, lpm=60, confirmed="2026-06-29",
    ),
    Dock(
        harbour="Sundrevik", name="Sundrevik Harbour Pump", near_nmi=(128.6, 76.7), gasoline=1.98, diesel=1.70,
        hours="Mo-Su 08:00-18:00", confirmed="2026-06-05",
    ),
    Dock(
        harbour="Rostermay", name="Rostermay Fuel Dock", near_nmi=(142.9, 66.9), gasoline=1.95, diesel=1.65,
        hours="Mo-Sa 07:00-18:00; Su 09:00-13:00", lpm=60, confirmed="2026-06-14",
    ),
    Dock(
        harbour="Mirrowick", name="Mirrowick Pier Pump", near_nmi=(127.4, 60.0), fuels="gasoline", gasoline=2.09,
        depth_m=2.3, length_m=12, hours="Mo-Su 09:00-19:00", lpm=40, confirmed="2026-05-22",
    ),
    Dock(
        harbour="Dollamore", name="Dollamore Quay", near_nmi=(146.3, 55.6), fuels="gasoline", gasoline=1.92,
        ethanol=0.10, depth_m=1.9, length_m=10, hours="Mo-Fr 08:00-17:00", lpm=35, confirmed="2025-11-11",
    ),
    Dock(
        harbour="Twillamoor", name="Twillamoor Pump", near_nmi=(116.8, 44.3), fuels="gasoline", gasoline=2.14,
        depth_m=2.1, length_m=12, largest_l=200, hours="Mo-Su 08:00-18:00", lpm=30, confirmed="2025-07-27",
    ),
    Dock(
        harbour="Wintermoy", name="Wintermoy Weekend Pump", near_nmi=(138.7, 40.0), fuels="gasoline",
        gasoline=2.11, hours="Fr 16:00-20:00; Sa-Su 09:00-18:00", depth_m=2.0, length_m=11, confirmed="2026-06-07",
    ),
    Dock(
        harbour="Ostravane", name="Ostravane Bay Pump", near_nmi=(120.6, 16.6), fuels="gasoline", gasoline=1.66,
        hours=None, depth_m=None, lpm=20, pumps=None, vhf=None, confirmed="2020-05-02",
        note="Nobody has reported from here for years.",
    ),
    Dock(
        harbour="Hobbamoor", name="Hobbamoor Diesel Wharf", near_nmi=(147.3, 35.4), fuels="diesel", diesel=1.60,
        hours="Mo-Fr 06:00-16:00", lpm=100, depth_m=4.2, length_m=30, confirmed="2026-01-20",
    ),
)
# fmt: on


def deep_shores_nmi() -> tuple[tuple[float, float], ...]:
    """Return the places where the water must be deep up to the shore.

    Returns
    -------
    [nmi] Where the docks stand that boats can reach.
    """
    return tuple(dock.near_nmi for dock in DOCKS if dock.reachable)


def build_docks(shore: Shore) -> tuple[tuple[tuple[float, float], Dock], ...]:
    """Set every dock on the water's edge.

    Parameters
    ----------
    shore
        The finished coast.

    Returns
    -------
    [nmi] Each dock with its place on the board.
    """
    return tuple((shore.find_quay(dock.near_nmi, reachable=dock.reachable), dock) for dock in DOCKS)
