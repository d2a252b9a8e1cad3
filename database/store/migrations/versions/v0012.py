"""What the studio remembers of how its painter works, and the plates that paint is mixed on."""

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"


def upgrade() -> None:
    """Make both tables; a plate that was kept in a file beside the database is taken up later."""
    op.create_table(
        "habits",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("value", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_habits")),
        sa.UniqueConstraint("name", name=op.f("uq_habits_name")),
    )
    op.create_table(
        "plates",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("goal", sa.String(), nullable=False),
        sa.Column("made", sa.String(), nullable=False),
        sa.Column("additions", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("dab", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("before", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_plates")),
    )
    op.create_index("ix_plates_goal", "plates", ["goal"], unique=False)
