"""Guard what the wheel holds: our four packages and nothing else, the demo's data, no data of others."""

from __future__ import annotations

import sys
import zipfile

PACKAGES = {"demo_region", "layers", "maps", "routeplan"}
NEEDED = {
    "demo_region/data/region.toml",
    "demo_region/data/land.geojson",
    "layers/py.typed",
    "maps/py.typed",
    "routeplan/py.typed",
    "routeplan/cli.py",
}


def main(wheel: str) -> int:
    """Print what is wrong with a wheel; return 1 if anything is."""
    names = zipfile.ZipFile(wheel).namelist()
    tops = {name.split("/")[0] for name in names if ".dist-info/" not in name}
    faults = [f"unexpected top-level name: {top}" for top in sorted(tops - PACKAGES)]
    faults += [f"missing: {name}" for name in sorted(NEEDED - set(names))]
    faults += [f"data of others: {name}" for name in names if "gshhs" in name.lower()]
    for fault in faults:
        print(f"{wheel}: {fault}")  # noqa: T201
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
