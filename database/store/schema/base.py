"""What every table of the studio database is made on."""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    JSON,
    Double,
    LargeBinary,
    MetaData,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column


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
        dict[str, Any]: JSON(none_as_null=True),
        list[Any]: JSON(none_as_null=True),
        bytes: LargeBinary,
        float: Double,
    }

    id: Mapped[int] = mapped_column(primary_key=True, sort_order=-1)
