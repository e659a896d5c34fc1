"""Places for a log to be tested in: a file in a folder of its own, or a schema of its own on a PostgreSQL server."""

from __future__ import annotations

import contextlib
import functools
import os
import secrets
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import sqlalchemy as sa

if TYPE_CHECKING:
    from collections.abc import Iterator

VARIABLE = "ROUTEPLAN_TEST_POSTGRESQL"


@contextlib.contextmanager
def quick_folder() -> Iterator[Path]:
    """Make a folder where waiting for the disk takes no time, if there is such a place."""
    memory = Path("/dev/shm")  # noqa: S108  # Linux: files in memory; a name of its own is made below
    usable = memory.is_dir() and os.access(memory, os.W_OK)
    with tempfile.TemporaryDirectory(dir=memory if usable else None, prefix="log-") as made:
        yield Path(made)


def server_url() -> sa.URL:
    """Tell which server tests may use; skip the test where none is named."""
    named = os.environ.get(VARIABLE)
    if not named:
        pytest.skip(f"no PostgreSQL: set {VARIABLE} to the URL of a database that may be filled and emptied")
    return sa.make_url(named).set(drivername="postgresql+psycopg")


@functools.cache  # an engine asks a few things of each new server before the first answer
def _engine(url: sa.URL) -> sa.Engine:
    return sa.create_engine(url, poolclass=sa.NullPool, isolation_level="AUTOCOMMIT")


def asked(url: sa.URL, *statements: str) -> None:
    """Run statements on a server, each for good."""
    with _engine(url).connect() as connection:
        for statement in statements:
            connection.exec_driver_sql(statement)


def in_schema(url: sa.URL, schema: str) -> str:
    """Name a schema of a database in its URL."""
    options = url.update_query_dict({"options": f"-csearch_path={schema}"})
    return options.set(drivername="postgresql").render_as_string(hide_password=False)


@contextlib.contextmanager
def server_place() -> Iterator[str]:
    """Make a schema; remove it in the end."""
    url, schema = server_url(), f"test_{secrets.token_hex(8)}"
    asked(url, f"CREATE SCHEMA {schema}")
    try:
        yield in_schema(url, schema)
    finally:
        asked(url, f"DROP SCHEMA {schema} CASCADE")
