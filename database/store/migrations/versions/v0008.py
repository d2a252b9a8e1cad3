"""Batches of recipes: the lots they were made of, and what their dried swatch was read as."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    """Add lots and swatch; no batch was ever kept before."""
    op.add_column("batches", sa.Column("lots", sa.JSON(none_as_null=True), nullable=True))
    op.add_column("batches", sa.Column("swatch", sa.JSON(none_as_null=True), nullable=True))
