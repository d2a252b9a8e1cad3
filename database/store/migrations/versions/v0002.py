"""Imports and their undoing; what a release was published against.

A file whose import was undone may be read again: sessions of one file are told apart by attempt.
"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Add imports, attempts of sessions, and what was said of a release."""
    op.create_table(
        "imports",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("done", sa.String(), nullable=False),
        sa.Column("files", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("sessions", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("card_versions", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("undone", sa.String(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_imports")),
    )
    op.add_column(
        "sessions", sa.Column("attempt", sa.Integer(), nullable=False, server_default="1")
    )
    op.drop_index("ix_sessions_once", "sessions")
    op.create_index("ix_sessions_once", "sessions", ["card_id", "sha256", "attempt"], unique=True)
    op.add_column("releases", sa.Column("gates", sa.JSON(none_as_null=True), nullable=True))
