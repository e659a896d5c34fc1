"""Small mixed-integer programmes, solved by HiGHS through scipy without a word on anybody's screen."""

from __future__ import annotations

import contextlib
import os
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    Vector = NDArray[np.float64]

__all__ = ["solve"]

_STDOUT = 1  # the file descriptor
_GAP = 1e-9  # share of the cost by which what is found may be dearer than need be: bounds are taken from it


def solve(
    cost: Vector,
    whole: Vector,
    most: Vector,
    rows: Any,
    low: Vector,
    high: Vector,
    *,
    nodes: int | None = None,
) -> Vector | None:
    """Find values of least cost.

    Parameters
    ----------
    cost
        Of each column.
    whole
        1 for columns that are whole numbers, else 0.
    most
        Upper bound of each column; the lower one is 0.
    rows
        Matrix of the constraints, dense or sparse, one row each.
    low, high
        What each row has to lie between.
    nodes
        Of the search, after which the best that was found is taken; None for no limit.

    Returns
    -------
    The values; None where there are none, or none was found by then.

    Notes
    -----
    Whole numbers are met to within HiGHS's tolerance, 1e-6: round what is read as a choice. Some versions of HiGHS
    print on the process's own standard output, which belongs to the one document of a command: it is shut meanwhile.
    """
    constraints = LinearConstraint(rows, low, high) if len(low) else ()
    options = {"mip_rel_gap": _GAP} | ({} if nodes is None else {"node_limit": nodes})
    with _quiet():
        found = milp(
            cost, integrality=whole, bounds=Bounds(np.zeros(len(cost)), most), constraints=constraints, options=options
        )
    return None if found.x is None else np.asarray(found.x)


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Send what native code prints on standard output nowhere; Python's own output isn't written meanwhile."""
    try:
        kept = os.dup(_STDOUT)
    except OSError:  # there is none
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, _STDOUT)
        yield
    finally:
        os.dup2(kept, _STDOUT)
        os.close(kept)
        os.close(nowhere)
