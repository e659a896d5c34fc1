"""The demo region: an invented coast with its boats, fuel logs and cruise, and the generator that makes them.

Public names: `data_folder`, `generate`, `story`, `Story`.
"""

from __future__ import annotations

from pathlib import Path

from demo_region.story import SEED, Story, story

__all__ = ["Story", "data_folder", "generate", "story"]


def data_folder() -> Path:
    """Return the folder with the demo's finished files.

    Returns
    -------
    A region folder that also holds boats, fill-ups and a cruise.
    """
    return Path(__file__).parent / "data"


def generate(out: Path, seed: int = SEED) -> None:
    """Make the demo's files anew.

    Parameters
    ----------
    out
        Folder to write into; made where it is missing.
    seed
        Another seed makes another coast; the story is true of the default one only.
    """
    from demo_region.files import write_manifest  # noqa: PLC0415  # heavy: loaded only when a region is made
    from demo_region.region import write_region  # noqa: PLC0415

    write_region(out, seed)
    write_manifest(out, seed)
