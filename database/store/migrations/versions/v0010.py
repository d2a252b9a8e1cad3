"""Of each fitted paint, how well its steps predict each other: models are chosen by it."""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"


def upgrade() -> None:
    """Add the figure; fits by transport so far have none, so nothing is filled in."""
    op.add_column("paint_fits", sa.Column("left_out", sa.Double(), nullable=True))
