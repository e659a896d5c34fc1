"""How long predicting a million points-times takes, against utide.

    python tests/bench/bench_tides.py [--streams 20] [--times 50000]

Streams of the demo's kind, each with its own figures and latitude, at the same times over a year. The answers are
compared first; utide is asked for arguments and node factors of every time, as ours are.
"""

from __future__ import annotations

import argparse
import time
from datetime import UTC, datetime

import numpy as np
import utide
from utide._ut_constants import constit_index_dict, ut_constants
from utide.utilities import Bunch

import layers.constituents
from layers.constituents import Harmonic
from routeplan.tidal_streams import TidalStream

SEED = 20260701
NAMES = ("M2", "S2", "N2", "M4")
ORDINAL_D = 719_163  # the ordinal of 1970-01-01, from which utide counts days
ALIKE_KN = 1e-6


def invent_streams(count: int) -> list[TidalStream]:
    """Make streams of four constituents, about as strong as the demo's."""
    chance = np.random.default_rng(SEED)
    streams = []
    for number in range(count):
        speeds = np.array([2.9, 1.0, 0.6, 0.2]) * chance.uniform(0.5, 1.5, 4)
        parts = zip(NAMES, speeds.tolist(), chance.uniform(0, 360, 4).tolist(), strict=True)
        harmonics = tuple(Harmonic(*part) for part in parts)
        streams.append(TidalStream(f"Narrows {number}", 40, 225, 0.1, harmonics, float(chance.uniform(40, 50))))
    return streams


def theirs_kn(stream: TidalStream, times_s: np.ndarray) -> np.ndarray:
    """Let utide reconstruct a stream."""
    index = [constit_index_dict[one.name] for one in stream.harmonics]
    exact = {"nodsatlint": False, "nodsatnone": False, "gwchlint": False, "gwchnone": False}
    coefficients = Bunch(
        name=np.array([one.name for one in stream.harmonics]),
        A=np.array([one.amplitude_kn for one in stream.harmonics]),
        g=np.array([one.lag_deg for one in stream.harmonics]),
        mean=stream.mean_kn,
        aux=Bunch(
            frq=ut_constants.const.freq[index],
            lind=np.array(index),
            lat=stream.latitude_deg,
            reftime=0.0,
            opt=Bunch(**exact, twodim=False, notrend=True, nodiagn=True, prefilt=[]),
        ),
    )
    return np.asarray(utide.reconstruct(times_s / 86_400 + ORDINAL_D, coefficients, epoch="python", verbose=False).h)


def main() -> None:
    """Print the greatest difference, both times and their ratio."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--streams", type=int, default=20)
    parser.add_argument("--times", type=int, default=50_000)
    given = parser.parse_args()
    streams = invent_streams(given.streams)
    first, last = (datetime(year, 1, 1, tzinfo=UTC).timestamp() for year in (2026, 2027))
    times = np.linspace(first, last, given.times)
    began = time.perf_counter()
    theirs = [theirs_kn(stream, times) for stream in streams]
    theirs_s = time.perf_counter() - began
    apart = max(
        float(np.abs(stream.along_kn(times) - their).max()) for stream, their in zip(streams, theirs, strict=True)
    )
    print(f"## greatest difference {apart:.1e} kn")
    if apart > ALIKE_KN:
        raise SystemExit("the answers differ")
    ours_s = []
    for _ in range(3):
        layers.constituents._block.cache_clear()  # noqa: SLF001  # nothing of the comparison is to help
        began = time.perf_counter()
        for stream in streams:
            stream.along_kn(times)
        ours_s.append(time.perf_counter() - began)
    count = given.streams * given.times
    print(
        f"## {count:,} points-times: ours {min(ours_s):.2f} s, utide {theirs_s:.1f} s: {theirs_s / min(ours_s):.0f} x"
    )


if __name__ == "__main__":
    main()
