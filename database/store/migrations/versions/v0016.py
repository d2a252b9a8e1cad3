"""Keys that sign releases, as they were first seen; what program and libraries made a fit."""

import sqlalchemy as sa
from alembic import op

revision = "0016"
down_revision = "0015"


def upgrade() -> None:
    """No key was seen before; of fits made before only the version is known."""
    op.create_table(
        "keys",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("studio", sa.String(), nullable=False),
        sa.Column("public", sa.String(), nullable=False),
        sa.Column("own", sa.Boolean(), nullable=False),
        sa.Column("seen", sa.String(), nullable=False),
        sa.Column("release", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_keys")),
        sa.UniqueConstraint("studio", "public", name=op.f("uq_keys_studio_public")),
    )
    with op.batch_alter_table("fits") as table:
        table.add_column(sa.Column("made_with", sa.JSON(none_as_null=True), nullable=True))
