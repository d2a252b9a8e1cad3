"""The figures of a fit's quality report, kept with the fit."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Add a fit's figures."""
    op.add_column("paint_fits", sa.Column("quality", sa.LargeBinary(), nullable=True))
