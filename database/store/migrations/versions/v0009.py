"""Checks by a scan: which characterised device made it, and its own error."""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"


def upgrade() -> None:
    """Add both; every check so far was read by an instrument."""
    with op.batch_alter_table("checks") as table:
        table.add_column(sa.Column("calibration_id", sa.Integer(), nullable=True))
        table.add_column(sa.Column("scan_error", sa.Double(), nullable=True))
        table.create_foreign_key(
            op.f("fk_checks_calibration_id"),
            "calibrations",
            ["calibration_id"],
            ["id"],
        )
