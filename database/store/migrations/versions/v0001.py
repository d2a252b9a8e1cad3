"""The whole schema, from the start.

Sessions, readings and releases are append-only: triggers refuse to change or delete a row.
"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

APPEND_ONLY = ("sessions", "readings", "releases")


def upgrade() -> None:
    """Make every table."""
    op.create_table(
        "cards",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cards")),
        sa.UniqueConstraint("name", name=op.f("uq_cards_name")),
    )
    op.create_table(
        "devices",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("serial", sa.String(), nullable=False),
        sa.Column("profile", sa.JSON(none_as_null=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_devices")),
        sa.UniqueConstraint("name", name=op.f("uq_devices_name")),
    )
    op.create_table(
        "fits",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("created", sa.String(), nullable=False),
        sa.Column("code_version", sa.String(), nullable=False),
        sa.Column("settings", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("inputs", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("coefficients", sa.LargeBinary(), nullable=False),
        sa.Column("coefficients_sha256", sa.String(), nullable=False),
        sa.Column("nuisances", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_fits")),
    )
    op.create_table(
        "paints",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("nickname", sa.String(), nullable=False),
        sa.Column("nickname_key", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("maker", sa.String(), nullable=False),
        sa.Column("range", sa.String(), nullable=False),
        sa.Column("pigments", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("binder", sa.String(), nullable=False),
        sa.Column("finish", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.CheckConstraint(
            "finish IN ('ordinary', 'metallic', 'interference', 'fluorescent')",
            name=op.f("ck_paints_finish"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_paints")),
        sa.UniqueConstraint("nickname_key", name=op.f("uq_paints_nickname_key")),
    )
    op.create_table(
        "recipes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("created", sa.String(), nullable=False),
        sa.Column("target", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("parts", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("predicted", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("fits", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recipes")),
    )
    op.create_table(
        "releases",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("created", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("contents", sa.JSON(none_as_null=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_releases")),
        sa.UniqueConstraint("version", name=op.f("uq_releases_version")),
    )
    op.create_table(
        "calibrations",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("device_id", sa.Integer(), nullable=False),
        sa.Column("done", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("result", sa.JSON(none_as_null=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["device_id"], ["devices.id"], name=op.f("fk_calibrations_device_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_calibrations")),
    )
    op.create_index("ix_calibrations_device_id", "calibrations", ["device_id"], unique=False)

    op.create_table(
        "card_versions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("card_id", sa.Integer(), nullable=False),
        sa.Column("file", sa.String(), nullable=False),
        sa.Column("text", sa.String(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("added", sa.String(), nullable=False),
        sa.Column("purpose", sa.String(), nullable=False),
        sa.Column("layout", sa.String(), nullable=True),
        sa.Column("date", sa.String(), nullable=True),
        sa.Column("balance_g", sa.Double(), nullable=False),
        sa.Column("sealed", sa.Boolean(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.CheckConstraint("purpose IN ('fit', 'check')", name=op.f("ck_card_versions_purpose")),
        sa.ForeignKeyConstraint(["card_id"], ["cards.id"], name=op.f("fk_card_versions_card_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_card_versions")),
    )
    op.create_index("ix_card_versions_card_id", "card_versions", ["card_id"], unique=False)

    op.create_table(
        "checks",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("fit_id", sa.Integer(), nullable=False),
        sa.Column("card_id", sa.Integer(), nullable=False),
        sa.Column("patch", sa.String(), nullable=False),
        sa.Column("de00", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(["card_id"], ["cards.id"], name=op.f("fk_checks_card_id")),
        sa.ForeignKeyConstraint(["fit_id"], ["fits.id"], name=op.f("fk_checks_fit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_checks")),
    )
    op.create_index("ix_checks_fit_id", "checks", ["fit_id"], unique=False)
    op.create_table(
        "lots",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("paint_id", sa.Integer(), nullable=False),
        sa.Column("lot", sa.String(), nullable=False),
        sa.Column("size_ml", sa.Double(), nullable=True),
        sa.Column("price", sa.Double(), nullable=True),
        sa.Column("density", sa.Double(), nullable=True),
        sa.Column("volume_solids", sa.Double(), nullable=True),
        sa.Column("opened", sa.Date(), nullable=True),
        sa.Column("on_hand", sa.Boolean(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["paint_id"], ["paints.id"], name=op.f("fk_lots_paint_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lots")),
        sa.UniqueConstraint("paint_id", "lot", name=op.f("uq_lots_paint_id_lot")),
    )
    op.create_table(
        "drawdowns",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("card_version_id", sa.Integer(), nullable=False),
        sa.Column("step", sa.String(), nullable=False),
        sa.Column("paint_id", sa.Integer(), nullable=True),
        sa.Column("white_id", sa.Integer(), nullable=True),
        sa.Column("masses", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("taken_from", sa.String(), nullable=True),
        sa.Column("taken_g", sa.Double(), nullable=True),
        sa.Column("lots", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("over", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("opaque", sa.Boolean(), nullable=False),
        sa.Column("gap_um", sa.Double(), nullable=True),
        sa.Column("thickness_um", sa.Double(), nullable=True),
        sa.Column("surface", sa.String(), nullable=False),
        sa.Column("coats", sa.Integer(), nullable=False),
        sa.Column("hours_dried", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(
            ["card_version_id"], ["card_versions.id"], name=op.f("fk_drawdowns_card_version_id")
        ),
        sa.ForeignKeyConstraint(["paint_id"], ["paints.id"], name=op.f("fk_drawdowns_paint_id")),
        sa.ForeignKeyConstraint(["white_id"], ["paints.id"], name=op.f("fk_drawdowns_white_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_drawdowns")),
        sa.UniqueConstraint(
            "card_version_id", "step", name=op.f("uq_drawdowns_card_version_id_step")
        ),
    )
    op.create_index("ix_drawdowns_paint_id", "drawdowns", ["paint_id"], unique=False)

    op.create_table(
        "paint_fits",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("fit_id", sa.Integer(), nullable=False),
        sa.Column("paint_id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=True),
        sa.Column("current", sa.Boolean(), nullable=False),
        sa.Column("beside", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("verdict", sa.String(), nullable=False),
        sa.Column("reasons", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("de00_mean", sa.Double(), nullable=True),
        sa.Column("de00_max", sa.Double(), nullable=True),
        sa.Column("patches", sa.LargeBinary(), nullable=False),
        sa.Column("residuals", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["fit_id"], ["fits.id"], name=op.f("fk_paint_fits_fit_id")),
        sa.ForeignKeyConstraint(["lot_id"], ["lots.id"], name=op.f("fk_paint_fits_lot_id")),
        sa.ForeignKeyConstraint(["paint_id"], ["paints.id"], name=op.f("fk_paint_fits_paint_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_paint_fits")),
        sa.UniqueConstraint("fit_id", "paint_id", name=op.f("uq_paint_fits_fit_id_paint_id")),
    )
    op.create_index(
        "ix_paint_fits_current",
        "paint_fits",
        ["paint_id"],
        unique=True,
        sqlite_where=sa.text("current"),
        postgresql_where=sa.text("current"),
    )

    op.create_table(
        "sessions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("card_id", sa.Integer(), nullable=False),
        sa.Column("device_id", sa.Integer(), nullable=True),
        sa.Column("calibration_id", sa.Integer(), nullable=True),
        sa.Column("file", sa.String(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("format", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("geometry", sa.String(), nullable=False),
        sa.Column("specular", sa.String(), nullable=False),
        sa.Column("condition", sa.String(), nullable=True),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("date", sa.String(), nullable=True),
        sa.Column("header", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("wavelengths", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("added", sa.String(), nullable=False),
        sa.CheckConstraint(
            "specular IN ('included', 'excluded')", name=op.f("ck_sessions_specular")
        ),
        sa.CheckConstraint("state IN ('dry', 'wet')", name=op.f("ck_sessions_state")),
        sa.CheckConstraint("unit IN ('fraction', 'percent')", name=op.f("ck_sessions_unit")),
        sa.ForeignKeyConstraint(
            ["calibration_id"], ["calibrations.id"], name=op.f("fk_sessions_calibration_id")
        ),
        sa.ForeignKeyConstraint(["card_id"], ["cards.id"], name=op.f("fk_sessions_card_id")),
        sa.ForeignKeyConstraint(["device_id"], ["devices.id"], name=op.f("fk_sessions_device_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sessions")),
    )
    op.create_index("ix_sessions_once", "sessions", ["card_id", "sha256"], unique=True)

    op.create_table(
        "batches",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("recipe_id", sa.Integer(), nullable=False),
        sa.Column("made", sa.String(), nullable=False),
        sa.Column("masses", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=True),
        sa.Column("note", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["recipe_id"], ["recipes.id"], name=op.f("fk_batches_recipe_id")),
        sa.ForeignKeyConstraint(
            ["session_id"], ["sessions.id"], name=op.f("fk_batches_session_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_batches")),
    )
    op.create_index("ix_batches_recipe_id", "batches", ["recipe_id"], unique=False)

    op.create_table(
        "readings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column("patch", sa.String(), nullable=False),
        sa.Column("repeat", sa.Integer(), nullable=False),
        sa.Column("reflectance", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("flags", sa.JSON(none_as_null=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["session_id"], ["sessions.id"], name=op.f("fk_readings_session_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_readings")),
        sa.UniqueConstraint(
            "session_id", "patch", "repeat", name=op.f("uq_readings_session_id_patch_repeat")
        ),
    )
    for table in APPEND_ONLY:
        make_append_only(table)


def make_append_only(table: str) -> None:
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
