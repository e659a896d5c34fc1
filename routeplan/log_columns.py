"""What the columns of a log's tables have in common: moments in UTC, and limits that hold for other programs too."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

from sqlalchemy import BigInteger, CheckConstraint, Column, DateTime, Double, Integer, Text, TypeDecorator

from layers.errors import InputError

if TYPE_CHECKING:
    from sqlalchemy import Dialect

__all__ = ["ROW", "SEA_WORDS", "Moment", "limit", "number_column", "text_column"]

ROW = BigInteger().with_variant(Integer(), "sqlite")  # SQLite counts rows by itself in a key that is INTEGER only
SEA_WORDS = "'calm', 'smooth', 'slight', 'moderate', 'rough', 'very rough'"


class Moment(TypeDecorator[datetime]):
    """A moment: in SQLite, which has no zones, as UTC without one; in PostgreSQL as timestamptz."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def __init__(self) -> None:
        super().__init__()

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Turn a moment into what the database keeps.

        Parameters
        ----------
        value
            With a zone.
        dialect
            Of the database.

        Returns
        -------
        In UTC; without a zone for SQLite.

        Raises
        ------
        InputError
            It has no zone, so that nobody can tell which moment it is, or no year that a calendar here has.
        """
        if value is None:
            return None
        if value.utcoffset() is None:
            raise InputError("time", "has no zone", value=value.isoformat(), remedy="give it one, such as Z for UTC")
        try:
            moment = value.astimezone(UTC)
        except OverflowError as error:
            raise InputError("time", "is outside the years 1 to 9999 in UTC", value=value.isoformat()) from error
        return moment.replace(tzinfo=None) if dialect.name == "sqlite" else moment

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        """Turn what the database kept into a moment.

        Parameters
        ----------
        value
            As read.
        dialect
            Of the database.

        Returns
        -------
        In UTC.
        """
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


def limit(table: str, column: str, rule: str) -> CheckConstraint:
    """Make a rule of one column, named after it.

    Parameters
    ----------
    table, column
        Their names.
    rule
        In SQL.

    Returns
    -------
    The rule.
    """
    return CheckConstraint(rule, name=f"{table}_{column}")


def number_column(table: str, name: str, highest: int, *, more_than_none: bool = False) -> Column[float]:
    """Make a column of a figure.

    Parameters
    ----------
    table, name
        Their names.
    highest
        The most that it may be.
    more_than_none
        Whether it has to be there, and above nothing.

    Returns
    -------
    The column.
    """
    lowest = f"{name} > 0" if more_than_none else f"{name} >= 0"
    rule = limit(table, name, f"{lowest} AND {name} <= {highest}")  # infinity and NaN fail it too
    return Column(name, Double(), rule, nullable=not more_than_none)


def text_column(table: str, name: str, longest: int, shortest: int = 0) -> Column[str]:
    """Make a column of a text that has to be there.

    Parameters
    ----------
    table, name
        Their names.
    longest, shortest
        [characters] How long it may be.

    Returns
    -------
    The column.
    """
    rule = limit(table, name, f"length({name}) BETWEEN {shortest} AND {longest}")
    return Column(name, Text(), rule, nullable=False)
