"""Corrected readings beside the raw ones, and how they were corrected."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Add corrections of sessions, and corrected values of readings."""
    op.add_column("sessions", sa.Column("corrections", sa.JSON(none_as_null=True), nullable=True))
    op.add_column("readings", sa.Column("corrected", sa.JSON(none_as_null=True), nullable=True))
