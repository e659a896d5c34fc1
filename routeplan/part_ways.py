"""A way to have come to a place with part fills, and the offers of fuel that it carries along."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from routeplan.tracks import Track

__all__ = ["TICK_H", "TIE", "Offer", "Way", "cut", "draw", "state"]

TICK_H = 1e-8  # [h] clocks count microseconds: a fill that ends as the dock closes ends this much before
TIE = 1e-9  # [l, h, currency] figures nearer than this are the same


class Offer(NamedTuple):
    """Fuel that could have been taken at a stop.

    Parameters
    ----------
    litres
        [l] How much.
    h_per_l, cost_per_l
        [h/l, currency/l] Time at the pump and price.
    stop
        Which of the stops so far.
    """

    litres: float
    h_per_l: float
    cost_per_l: float
    stop: int


@dataclass(eq=False, slots=True)  # never changed, but made by the thousand: freezing takes three times as long
class Way:
    """One way to have come to a place, ready to leave; nothing of its offers is taken yet.

    Parameters
    ----------
    place, stage
        Terminal, and how many of the problem's targets have been passed.
    aboard_l, burned_l, sd_l
        [l] Mean fuel aboard, mean burn since the last known level, standard deviation of that level.
    time_h, cost
        [h, currency] Since the departure.
    stops
        Fill-ups so far.
    offers
        Cheapest first, time counted in.
    before, track
        Where it came from and how; None at the departure.
    fills, to_mark
        Whether it fills here, and to the mark.
    taken
        (stop, litres) taken from offers on the way here.
    owes
        Whether nothing has been taken yet at the last stop.
    parts
        The part fills that a fill to the mark stands in for, under `enough`.
    """

    place: int
    stage: int
    aboard_l: float
    burned_l: float
    sd_l: float
    time_h: float
    cost: float
    stops: int
    offers: tuple[Offer, ...] = ()
    before: Way | None = None
    track: Track | None = None
    fills: bool = False
    to_mark: bool = False
    taken: tuple[tuple[int, float], ...] = ()
    owes: bool = False
    parts: tuple[Way, ...] = ()

    @property
    def most_l(self) -> float:
        """[l] Fuel aboard if all offers are taken."""
        return self.aboard_l + sum(offer.litres for offer in self.offers)

    def at(self, aboard_l: float) -> tuple[float, float]:
        """[h, currency] Time and cost with at least so much aboard.

        Parameters
        ----------
        aboard_l
            [l] As wanted, `most_l` at the most.

        Returns
        -------
        Both, with the cheapest offers taken first.
        """
        time_h, cost, more_l = self.time_h, self.cost, aboard_l - self.aboard_l
        for offer in self.offers:
            if more_l <= 0:
                break
            litres = min(more_l, offer.litres)
            time_h, cost, more_l = time_h + litres * offer.h_per_l, cost + litres * offer.cost_per_l, more_l - litres
        return time_h, cost

    def bends(self) -> list[float]:
        """[l] Fuel aboard at which the price of the next litre changes.

        Returns
        -------
        Rising, from nothing taken to everything.
        """
        return list(itertools.accumulate((offer.litres for offer in self.offers), initial=self.aboard_l))


def state(way: Way) -> tuple[float, ...]:
    """[l] Tell all that the future depends on, but time and cost: what is aboard and what could still be taken.

    Parameters
    ----------
    way
        The way.

    Returns
    -------
    Equal for ways that can't be told apart.
    """
    own = (way.aboard_l, way.burned_l, way.sd_l, way.most_l, float(way.owes))
    return (*(round(v, 9) for v in own), *(v for part in way.parts for v in state(part)))


def draw(offers: tuple[Offer, ...], litres: float) -> tuple[list[Offer], tuple[Offer, ...]] | None:
    """Take so much from the first offers on.

    Parameters
    ----------
    offers
        In the order to be taken.
    litres
        [l] How much; nothing where negative.

    Returns
    -------
    What was taken, and the offers that are left; None where they don't hold so much.
    """
    taken: list[Offer] = []
    for i, offer in enumerate(offers):
        if litres <= TIE:
            return taken, offers[i:]
        if offer.litres > litres:
            taken.append(offer._replace(litres=litres))
            return taken, (offer._replace(litres=offer.litres - litres), *offers[i + 1 :])
        taken.append(offer)
        litres -= offer.litres
    return None if litres > TIE else (taken, ())


def cut(offers: list[Offer], litres: float) -> tuple[Offer, ...]:
    """Leave the first offers, as many as the tank has room for.

    Parameters
    ----------
    offers
        In the order to be taken.
    litres
        [l] Room in the tank.

    Returns
    -------
    They hold the room at the most.
    """
    kept = []
    for offer in offers:
        if litres <= 0:
            break
        kept.append(offer._replace(litres=min(litres, offer.litres)))
        litres -= offer.litres
    return tuple(offer for offer in kept if offer.litres > 0)
