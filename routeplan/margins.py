"""What a boat keeps clear of, as asked for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from layers.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["Margins", "read_margins"]


class Margins(BaseModel):
    """What a boat keeps clear of.

    Parameters
    ----------
    under_keel_m
        [m] Least charted water under the keel.
    overhead_m
        [m] Least air over the highest point, under bridges and cables.
    standoff_m
        [m] Distance kept from everything that closes the water.
    snap_nmi
        [nmi] How far a place may lie from navigable water and still be joined to it.
    allow_unsurveyed
        Whether water without charted depth may be used.
    planing_standoff_m
        [m] Distance kept while planing; where there is no room for it the boat goes at displacement speed. None where
        it is the same.
    poor_survey_standoff_m
        [m] Distance kept where the survey is poor; None takes the region's.
    fairways
        Whether marked fairways are preferred.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    under_keel_m: float = Field(default=0.5, ge=0, le=50)
    overhead_m: float = Field(default=0.5, ge=0, le=50)
    standoff_m: float = Field(default=50.0, ge=5, le=2000)
    snap_nmi: float = Field(default=0.5, ge=0, le=5)
    allow_unsurveyed: bool = False
    planing_standoff_m: float | None = Field(default=None, ge=5, le=2000)
    poor_survey_standoff_m: float | None = Field(default=None, ge=5, le=10_000)
    fairways: bool = False

    @property
    def plain(self) -> Margins:
        """The same without what may make a way longer at the skipper's wish."""
        return self.model_copy(update={"planing_standoff_m": None, "poor_survey_standoff_m": None, "fairways": False})


def read_margins(given: Mapping[str, float], *, allow_unsurveyed: bool, fairways: bool = False) -> Margins:
    """Make margins of what was given on the command line.

    Parameters
    ----------
    given
        Values by field, in metres and nautical miles.
    allow_unsurveyed
        Whether water without charted depth may be used.
    fairways
        Whether marked fairways are preferred.

    Returns
    -------
    The margins, the rest at their defaults.

    Raises
    ------
    InputError
        A value is outside its limits, or a wider stand-off isn't wider.
    """
    try:
        margins = Margins(**given, allow_unsurveyed=allow_unsurveyed, fairways=fairways)
    except ValidationError as error:
        first = error.errors()[0]
        field = str(first["loc"][0])
        option = f"--{field.rsplit('_', 1)[0].replace('standoff', 'stand-off').replace('_', '-')}"
        unit = field.rsplit("_", 1)[1]
        limit = first["msg"].removeprefix("Input should be ")
        raise InputError(option, f"must be {limit} {unit}", value=f"{given[field]:g} {unit}") from error
    for option, asked_m in (
        ("--planing-stand-off", margins.planing_standoff_m),
        ("--poor-survey-stand-off", margins.poor_survey_standoff_m),
    ):
        if asked_m is not None and asked_m <= margins.standoff_m:
            raise InputError(
                option,
                f"must be more than the stand-off that is kept anyway, {margins.standoff_m:g} m",
                value=f"{asked_m:g} m",
                remedy="give more, or a smaller --stand-off",
            )
    return margins
