"""The tree of commands, built once a module of tests and not once a call: that is two thirds of a call's time."""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING
from unittest import mock

import pytest
import typer

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["commands_built_once"]


@pytest.fixture(scope="module", autouse=True)
def commands_built_once() -> Iterator[None]:
    """Keep what typer makes of our functions: it makes the same of them each time."""
    with mock.patch.object(typer.main, "get_command", functools.cache(typer.main.get_command)):
        yield
