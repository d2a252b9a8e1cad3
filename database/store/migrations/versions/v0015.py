"""What was taken out of use, renamed or edited, so that it can be taken back for a day."""

import sqlalchemy as sa
from alembic import op

revision = "0015"
down_revision = "0014"


def upgrade() -> None:
    """Begin without any: what was edited before can't be taken back."""
    op.create_table(
        "changes",
        sa.Column("id", sa.Integer, primary_key=True, nullable=False),
        sa.Column("done", sa.String, nullable=False),
        sa.Column("kind", sa.String, nullable=False),
        sa.Column("words", sa.String, nullable=False),
        sa.Column("hidden", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("edited", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("undone", sa.String, nullable=True),
    )
