"""What the demo shows: the run, the boat, and why the obvious fuel dock is the wrong one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

__all__ = ["SEED", "Story", "story"]

SEED: Final = 20260701


@dataclass(frozen=True)
class Story:
    """The demo's run, as the command line takes it, and what there is to see in it.

    Parameters
    ----------
    start, finish
        Names of waypoints of the demo region.
    boat, log
        Paths of the boat's file and of the log of fill-ups inside the data folder.
    depart
        Local time of departure.
    aboard
        Fuel aboard at departure.
    why
        A paragraph in plain words.
    """

    start: str
    finish: str
    boat: str
    log: str
    depart: str
    aboard: str
    why: str


def story() -> Story:
    """Return the demo's run.

    Returns
    -------
    Always the same one.

    Examples
    --------
    >>> story().start, story().finish
    ('Tolvarrow', 'Ettermoy')
    """
    return Story(
        start="Tolvarrow",
        finish="Ettermoy",
        boat="boats/quick_errand.toml",
        log="fillups.csv",
        depart="2026-07-01T08:00",
        aboard="full",
        why=(
            "From Tolvarrow round Cape Varrow to Ettermoy is about 182 nmi; Quick Errand can promise about "
            "110 on a full tank. The obvious stop is Hesterquay, about 103 nmi on: the last dock within "
            "range, the cheapest on the way, and one stop would do. It is the wrong one. The boat gets there "
            "about half past twelve on a Wednesday; on weekdays the pump shuts at noon, so she lies there "
            "until the next morning. The quay also lies up an inlet where no wake is allowed, half an hour at"
            " 5 kn each way, and if its pump has nothing to sell, no other that would serve her can be "
            "counted on from there. The docks near by don't help: Averlock serves members only, Grathow sells"
            " diesel only, Thrandel all but dries, and Ollerhythe opens in the middle of July. Two short "
            "stops close to the track, at Callowhythe (about 57 nmi on) and Larkhythe (about 123), bring her "
            "to Ettermoy the same afternoon, with far more left at every arrival."
        ),
    )
