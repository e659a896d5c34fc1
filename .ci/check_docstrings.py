"""Hold every public docstring against numpydoc's rules, with signatures as Python sees them.

`numpydoc lint` reads source only and takes the fields of dataclasses and pydantic models for unknown parameters.
"""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import sys
from typing import TYPE_CHECKING

from numpydoc.validate import validate

if TYPE_CHECKING:
    from collections.abc import Iterator

PACKAGES = ("demo_region", "layers", "maps", "routeplan")
CHECKS = {"GL05", "GL06", "GL07", "GL08", "PR01", "PR02", "PR03", "RT01", "SS03"}
COMMANDS = {"routeplan.cli"}  # typer's help texts document the parameters of commands


def public_names() -> Iterator[tuple[str, bool]]:
    """Walk all public functions, classes and methods that are defined in our packages."""
    for package in PACKAGES:
        for info in pkgutil.walk_packages([package], f"{package}."):
            if info.name.endswith("__main__"):
                continue
            module = importlib.import_module(info.name)
            for name, value in vars(module).items():
                if name.startswith("_") or getattr(value, "__module__", None) != info.name:
                    continue
                if inspect.isfunction(value):
                    yield f"{info.name}.{name}", False
                elif inspect.isclass(value):
                    yield f"{info.name}.{name}", False
                    for method, body in vars(value).items():
                        if not method.startswith("_") and (inspect.isfunction(body) or isinstance(body, property)):
                            yield f"{info.name}.{name}.{method}", isinstance(body, property)


def main() -> int:
    """Print what breaks a rule; return how much does."""
    broken = 0
    for name, is_property in public_names():
        checks = CHECKS - ({"RT01"} if is_property else set())
        if any(name.startswith(module) for module in COMMANDS):
            checks = {"GL08", "SS03"}
        for code, message in validate(name)["errors"]:
            if code in checks:
                print(f"{name}: {code} {message}")  # noqa: T201
                broken += 1
    return 1 if broken else 0


if __name__ == "__main__":
    sys.path.insert(0, ".")
    sys.exit(main())
