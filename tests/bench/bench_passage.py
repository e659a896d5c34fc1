"""What a passage on the demo takes with a warm cache, and how much of it is imports.

Run from the project's folder: ``python tests/bench/bench_passage.py``. Half a minute. Each run is a process of its own;
the least of several is told, as the others had to share the machine.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
DATA = ROOT / "demo_region" / "data"
PASSAGE = [
    sys.executable,
    "-c",
    "from routeplan.cli import main; main()",
    "passage",
    "Tolvarrow",
    "Ettermoy",
    "--region",
    str(DATA),
    "--boat",
    str(DATA / "boats" / "quick_errand.toml"),
    "--aboard",
    "full",
    "--depart",
    "2026-07-01T08:00",
    "--json",
]
LOADED = "import atexit, sys; atexit.register(lambda: print(*sys.modules, sep='\\n', file=sys.stderr)); "
RUNS = 5


def seconds(command: list[str], env: dict[str, str]) -> float:
    """[s] Run a command several times and tell the least."""
    best = float("inf")
    for _ in range(RUNS):
        begin = time.perf_counter()
        done = subprocess.run(command, cwd=ROOT, env=env, capture_output=True, check=False)
        best = min(best, time.perf_counter() - begin)
        if done.returncode:
            sys.exit(done.stderr.decode())
    return best


def imports_of_a_passage(env: dict[str, str]) -> str:
    """Tell what a passage has loaded by its end, as a program that imports just that, in the same order."""
    command = [*PASSAGE[:2], LOADED + PASSAGE[2], *PASSAGE[3:]]
    done = subprocess.run(command, cwd=ROOT, env=env, capture_output=True, check=True)
    names = [
        n
        for n in done.stderr.decode().splitlines()
        if n.replace(".", "").replace("_", "").isalnum() and n != "__main__"
    ]
    return (
        f"import contextlib, importlib\nfor name in {names!r}:\n"
        "    with contextlib.suppress(ImportError, KeyError):\n        importlib.import_module(name)"
    )


def slowest_imports(env: dict[str, str]) -> list[tuple[float, str]]:
    """[s] Ask the interpreter for its own account of imports during a passage; top packages by their own time."""
    command = [PASSAGE[0], "-X", "importtime", *PASSAGE[1:]]
    done = subprocess.run(command, cwd=ROOT, env=env, capture_output=True, check=True)
    spent: dict[str, float] = {}
    for line in done.stderr.decode().splitlines():
        if line.startswith("import time:") and "self" not in line:
            own, _, name = line.removeprefix("import time:").split("|")
            top = name.strip().split(".")[0]
            spent[top] = spent.get(top, 0.0) + float(own) / 1e6
    return sorted(((s, name) for name, s in spent.items()), reverse=True)


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as folder:
        env = {**os.environ, "ROUTEPLAN_CACHE": folder}
        begin = time.perf_counter()
        subprocess.run(PASSAGE, cwd=ROOT, env=env, capture_output=True, check=True)
        cold_s = time.perf_counter() - begin
        bare_s = seconds([sys.executable, "-c", "pass"], env)
        imports_s = seconds([sys.executable, "-c", imports_of_a_passage(env)], env)
        help_s = seconds([*PASSAGE[:3], "--help"], env)
        warm_s = seconds(PASSAGE, env)
        begin = time.perf_counter()
        account = slowest_imports(env)
        told_share = sum(s for s, _ in account) / (time.perf_counter() - begin)
    rows = [
        ("an interpreter that does nothing", bare_s),
        ("--help", help_s),
        ("imports alone", imports_s),
        ("passage, cold cache", cold_s),
        ("passage, warm cache", warm_s),
    ]
    for name, s in rows:
        print(f"{name:<34} {s:>7.2f} s")
    print(
        f"share of imports in the warm passage: {imports_s / warm_s:.0%} measured, "
        f"{told_share:.0%} by -X importtime in a run of its own"
    )
    print("by package: " + ", ".join(f"{name} {s:.2f} s" for s, name in account[:8]))


if __name__ == "__main__":
    main()
