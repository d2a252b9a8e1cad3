"""Fits by more than one model: of each paint one of each is current."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Add the model of a paint's fit; all before are by two fluxes."""
    op.add_column(
        "paint_fits",
        sa.Column("model", sa.String(), nullable=False, server_default="two-flux"),
    )
    op.drop_index("ix_paint_fits_current", "paint_fits")
    op.create_index(
        "ix_paint_fits_current",
        "paint_fits",
        ["paint_id", "model"],
        unique=True,
        sqlite_where=sa.text("current"),
        postgresql_where=sa.text("current"),
    )
