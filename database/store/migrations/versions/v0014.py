"""Wet and dried dabs of one mix each, which teach how a medium changes as it dries."""

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0013"


def upgrade() -> None:
    """Make the table; nothing was taught before."""
    op.create_table(
        "dryings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("noted", sa.String(), nullable=False),
        sa.Column("medium", sa.String(), nullable=False),
        sa.Column("parts", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("wet", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("dry", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("unsure", sa.Double(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_dryings")),
    )
