"""What of each paint was measured out for a batch: amounts as they were told, and tints."""

import sqlalchemy as sa
from alembic import op

revision = "0013"
down_revision = "0012"


def upgrade() -> None:
    """Batches made before have only grams; what they were measured with isn't known."""
    with op.batch_alter_table("batches") as table:
        table.add_column(sa.Column("portions", sa.JSON(none_as_null=True), nullable=True))
