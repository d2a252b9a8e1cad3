"""Sittings with an instrument, reading by reading."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    """Add sittings and their readings, which are append-only."""
    op.create_table(
        "sittings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("card_id", sa.Integer(), nullable=False),
        sa.Column("started", sa.String(), nullable=False),
        sa.Column("ended", sa.String(), nullable=True),
        sa.Column("session_id", sa.Integer(), nullable=True),
        sa.Column("profile", sa.String(), nullable=False),
        sa.Column("plan", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("skipped", sa.JSON(none_as_null=True), nullable=False),
        sa.ForeignKeyConstraint(["card_id"], ["cards.id"], name=op.f("fk_sittings_card_id")),
        sa.ForeignKeyConstraint(
            ["session_id"], ["sessions.id"], name=op.f("fk_sittings_session_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sittings")),
    )
    op.create_table(
        "sitting_readings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sitting_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.String(), nullable=False),
        sa.Column("round", sa.Integer(), nullable=False),
        sa.Column("repeat", sa.Integer(), nullable=False),
        sa.Column("taken", sa.String(), nullable=False),
        sa.Column("reflectance", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("said", sa.JSON(none_as_null=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["sitting_id"], ["sittings.id"], name=op.f("fk_sitting_readings_sitting_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sitting_readings")),
        sa.UniqueConstraint(
            "sitting_id",
            "place",
            "round",
            "repeat",
            name=op.f("uq_sitting_readings_sitting_id_place_round_repeat"),
        ),
    )
    _make_append_only("sitting_readings")


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
