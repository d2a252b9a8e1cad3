"""What every table of the studio database is made on."""

from __future__ import annotations

from typing import Any

from sqlalchemy import JSON, Dialect, Double, LargeBinary, MetaData, String, TypeDecorator
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from ....calibrate.plain_text import plain_all, without_controls


class PlainText(TypeDecorator[str]):
    """Text that is kept without control characters, whatever face it came in by."""

    impl = String
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:
        """Return what is kept."""
        return None if value is None else without_controls(value)


class PlainJson(TypeDecorator[Any]):
    """The same of every text in it."""

    impl = JSON(none_as_null=True)
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> Any:
        """Return what is kept."""
        return plain_all(value)


class Base(DeclarativeBase):
    """Base of all tables. Times are ISO 8601 text in UTC, alike in every database."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_N_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    type_annotation_map = {  # noqa: RUF012
        str: PlainText,
        dict[str, Any]: PlainJson,
        list[Any]: PlainJson,
        bytes: LargeBinary,
        float: Double,
    }

    id: Mapped[int] = mapped_column(primary_key=True, sort_order=-1)
