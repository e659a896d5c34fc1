"""``python -m demo_region OUT``: make the demo region's files anew."""

from __future__ import annotations

import argparse
from pathlib import Path

from demo_region import generate
from demo_region.story import SEED


def main() -> None:
    """Read the command line and write the files."""
    parser = argparse.ArgumentParser(prog="python -m demo_region", description="Make the demo region's files anew.")
    parser.add_argument("out", type=Path, help="folder to write into")
    parser.add_argument(
        "--seed", type=int, default=SEED, help="another seed makes another coast (default: %(default)s)"
    )
    wanted = parser.parse_args()
    generate(wanted.out, wanted.seed)


if __name__ == "__main__":
    main()
