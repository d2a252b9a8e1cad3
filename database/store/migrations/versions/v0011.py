"""A paint with a step that looks wrong is judged "look at this step", in these words."""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"


def upgrade() -> None:
    """Word the verdicts kept so far anew; what they stand for stays."""
    fits = sa.table("paint_fits", sa.column("verdict", sa.String()))
    op.execute(
        fits.update()
        .where(fits.c.verdict == "paint this step again")
        .values(verdict="look at this step")
    )
