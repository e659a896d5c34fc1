"""What is asked about reach: from where, with what aboard, within which limits; and the burn that these leave."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from routeplan.fuel import CONFIDENCE_HIGH, CONFIDENCE_LOW, FuelAboard, greatest_burn_l, low_figure_l, z_of
from routeplan.reached import OutOfFuel

if TYPE_CHECKING:
    from collections.abc import Sequence

    from routeplan.boats import Boat
    from routeplan.network import Network
    from routeplan.reached import Figure

__all__ = ["AskedReach", "Outing"]


class Outing(BaseModel):
    """What is asked: from where, with what aboard, and within which limits.

    Parameters
    ----------
    start
        Name of a dock or waypoint, or a position.
    aboard
        Fuel aboard there.
    depart
        Departure: docks are open or shut against it.
    speeds_kn
        [kn] Chosen speeds, the first one for places; empty for the cruising speed.
    confidence
        Share of arrivals that keep the whole reserve, for low figures.
    out_and_back
        Whether the boat comes back on the fuel and in the time that she has.
    time_h
        [h] The most time for the outing; None without limit.
    fuel_l
        [l] The most fuel for the outing; None for what the reserve leaves.
    rings_nmi
        [nmi] Range rings asked for, besides the promised range.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    start: str
    aboard: FuelAboard
    depart: AwareDatetime
    speeds_kn: tuple[Annotated[float, Field(gt=0)], ...] = ()
    confidence: Annotated[float, Field(ge=CONFIDENCE_LOW, le=CONFIDENCE_HIGH)] = 0.9
    out_and_back: bool = False
    time_h: Annotated[float, Field(gt=0)] | None = None
    fuel_l: Annotated[float, Field(gt=0)] | None = None
    rings_nmi: tuple[Annotated[float, Field(gt=0)], ...] = ()


@dataclass(frozen=True, eq=False)
class AskedReach:
    """An outing resolved against a network.

    Parameters
    ----------
    network
        With the start joined.
    boat
        Whose burn counts.
    outing
        What is asked.
    start
        Terminal.
    """

    network: Network
    boat: Boat
    outing: Outing
    start: int

    def burn_l(self, figure: Figure, floor_l: float | None = None) -> float:
        """[l] Return the most mean burn that leaves a floor.

        Parameters
        ----------
        figure
            `low`: with the outing's confidence; `mean`: on the average of many days.
        floor_l
            [l] What has to be left; unusable fuel and reserve where None.

        Returns
        -------
        0 where nothing is left to burn.
        """
        aboard = self.outing.aboard
        floor_l = self.boat.floor_l if floor_l is None else floor_l
        return greatest_burn_l(aboard.mean_l, aboard.sd_l, self.boat.burn.sd_share, self._z(figure), floor_l)

    def thirds_l(self, figure: Figure) -> float:
        """[l] Return the most mean burn, out and back together, by the rule of thirds.

        Parameters
        ----------
        figure
            As in `burn_l`.

        Returns
        -------
        What leaves a third of the usable fuel aboard, and the boat's own reserve if that is more.
        """
        unusable_l = self.boat.tank.unusable_l
        third_l = max(self.outing.aboard.mean_l - unusable_l, 0.0) / 3
        return self.burn_l(figure, max(self.boat.floor_l, unusable_l + third_l))

    def budget_l(self, figure: Figure) -> float:
        """[l] Return the most mean burn within the outing's own limit and the reserve.

        Parameters
        ----------
        figure
            As in `burn_l`: the low figure burns no more than the limit with the outing's confidence.

        Returns
        -------
        The burn; what the reserve leaves where the outing has no limit.
        """
        rule_l, limit_l = self.burn_l(figure), self.outing.fuel_l
        if limit_l is None:
            return rule_l
        return min(rule_l, limit_l / (1 + self._z(figure) * self.boat.burn.sd_share))

    def low_l(self, burned_l: float) -> float:
        """[l] Return the low figure of the fuel aboard after a burn.

        Parameters
        ----------
        burned_l
            [l] Mean burn since the start.

        Returns
        -------
        Negative where she may be dry.
        """
        aboard = self.outing.aboard
        return low_figure_l(aboard.mean_l, burned_l, aboard.sd_l, self.boat.burn.sd_share, self._z("low"))

    def refusal(self, on_reserve: Sequence[str] = ()) -> OutOfFuel:
        """Say that nothing above the reserve is left to burn.

        Parameters
        ----------
        on_reserve
            Docks that can be made on the reserve, in words.

        Returns
        -------
        How much is short, and what would help.
        """
        boat, aboard, units = self.boat, self.outing.aboard, self.boat.units
        low_l = self.low_l(0.0)
        short_l = max(boat.floor_l - low_l, 0.0)
        name = self.network.terminals[self.start].place.name
        why = (
            f"with {units.volume(aboard.mean_l)} aboard, low figure {units.volume_down(max(low_l, 0.0))}, nothing is "
            f"left above the {units.volume_up(boat.floor_l)} of reserve and unusable fuel: she is "
            f"{units.volume_up(short_l)} short"
        )
        ideas = [*on_reserve, f"fuel up: with over {units.volume_up(short_l)} more aboard she can leave"]
        if aboard.mean_l > boat.floor_l:
            ideas.append(
                "know better what is aboard, or ask for less certainty: --confidence 0.5 reckons with the mean figure"
            )
        ideas.append("the reserve is yours to use in need: --reserve sets another for this outing")
        return OutOfFuel(
            from_=name, aboard_l=aboard.mean_l, aboard_low_l=low_l, short_l=short_l, why=why, try_=tuple(ideas)
        )

    def _z(self, figure: Figure) -> float:
        return z_of(self.outing.confidence) if figure == "low" else 0.0
