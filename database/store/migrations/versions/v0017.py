"""Forms that were carried out, so that one that is sent again isn't carried out twice."""

import sqlalchemy as sa
from alembic import op

revision = "0017"
down_revision = "0016"


def upgrade() -> None:
    """No form said its name before."""
    op.create_table(
        "sent",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("path", sa.String(), nullable=False),
        sa.Column("made", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sent")),
        sa.UniqueConstraint("name", name=op.f("uq_sent_name")),
    )
