"""Scans of cards, patch by patch."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Add scans and their patches; an import may hold scans too."""
    op.add_column(
        "imports",
        sa.Column("scans", sa.JSON(none_as_null=True), nullable=False, server_default="[]"),
    )
    op.create_table(
        "scans",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("card_id", sa.Integer(), nullable=False),
        sa.Column("calibration_id", sa.Integer(), nullable=True),
        sa.Column("file", sa.String(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("attempt", sa.Integer(), nullable=False),
        sa.Column("taken", sa.String(), nullable=True),
        sa.Column("added", sa.String(), nullable=False),
        sa.Column("settings", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("dpi", sa.Double(), nullable=False),
        sa.Column("asked", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("level_from", sa.String(), nullable=False),
        sa.Column("evened", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("remarks", sa.JSON(none_as_null=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["calibration_id"], ["calibrations.id"], name=op.f("fk_scans_calibration_id")
        ),
        sa.ForeignKeyConstraint(["card_id"], ["cards.id"], name=op.f("fk_scans_card_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_scans")),
        sa.UniqueConstraint(
            "card_id", "sha256", "attempt", name=op.f("uq_scans_card_id_sha256_attempt")
        ),
    )
    op.create_table(
        "scan_patches",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("scan_id", sa.Integer(), nullable=False),
        sa.Column("patch", sa.String(), nullable=False),
        sa.Column("repeat", sa.Integer(), nullable=False),
        sa.Column("channels", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("variance", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("lab", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("spread", sa.Double(), nullable=False),
        sa.Column("left_out", sa.Double(), nullable=False),
        sa.Column("flag", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["scan_id"], ["scans.id"], name=op.f("fk_scan_patches_scan_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_scan_patches")),
        sa.UniqueConstraint(
            "scan_id", "patch", "repeat", name=op.f("uq_scan_patches_scan_id_patch_repeat")
        ),
    )
    for table in ("scans", "scan_patches"):
        _make_append_only(table)


def _make_append_only(table: str) -> None:
    """Let the database itself refuse to change or delete a row."""
    refusal = f"{table} are append-only"
    if op.get_bind().dialect.name == "sqlite":
        for action in ("update", "delete"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{action} BEFORE {action.upper()} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{refusal}'); END"
            )
    else:
        op.execute(
            f"CREATE FUNCTION {table}_refuse() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN RAISE EXCEPTION '{refusal}'; END $$"
        )
        op.execute(
            f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
            f"FOR EACH STATEMENT EXECUTE FUNCTION {table}_refuse()"
        )
