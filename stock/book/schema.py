"""What all tables share: the naming convention, the kinds of column, the metadata.

Every constraint is named by convention before revision one, so that a migration on either
database can speak of it. Amounts are integers of thousandths of the item's base unit, money is
integer minor units, days are ``Date``, moments are UTC.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import BigInteger, Column, DateTime, Dialect, ForeignKey, Integer, MetaData
from sqlalchemy.types import TypeDecorator

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)

Big = BigInteger().with_variant(Integer, "sqlite")


class Moment(TypeDecorator[datetime]):
    """A UTC moment: aware in Python, stored without an offset on both databases."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """To naive UTC; a naive moment is refused, since nobody knows which zone it means."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a moment needs a time zone")
        return value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Back to aware UTC."""
        return None if value is None else value.replace(tzinfo=UTC)


def identity() -> Column[Any]:
    """The primary key every table has."""
    return Column("id", Big, primary_key=True, autoincrement=True)


def refers(
    name: str, target: str, *, nullable: bool = False, index: bool = False, unique: bool = False
) -> Column[Any]:
    """A column naming a row of another table."""
    return Column(
        name, Big, ForeignKey(f"{target}.id"), nullable=nullable, index=index, unique=unique
    )
