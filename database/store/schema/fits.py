"""Tables of the studio database: fits, releases, and what was mixed by them."""

# Annotations stand as they are, not as text: each text would be compiled anew at every start.

from typing import Any

from sqlalchemy import (
    ForeignKey,
    Index,
    UniqueConstraint,
    text,
)
from sqlalchemy.orm import Mapped, mapped_column, relationship

from .base import Base
from .readings import Card, Lot, Paint


class Fit(Base):
    """One run of the fit: what went in, by id and hash, and what came out."""

    __tablename__ = "fits"

    created: Mapped[str]
    code_version: Mapped[str]
    made_with: Mapped[dict[str, Any] | None]
    """Versions of the code and of the libraries that it counts on; null where not recorded."""
    settings: Mapped[dict[str, Any]]
    inputs: Mapped[dict[str, Any]]
    coefficients: Mapped[bytes]
    coefficients_sha256: Mapped[str]
    nuisances: Mapped[bytes]

    paint_fits: Mapped[list["PaintFit"]] = relationship(
        back_populates="fit", order_by="PaintFit.id"
    )


class PaintFit(Base):
    """What a run found of one paint; one of each model is the paint's current fit."""

    __tablename__ = "paint_fits"
    __table_args__ = (
        UniqueConstraint("fit_id", "paint_id"),
        Index(
            "ix_paint_fits_current",
            "paint_id",
            "model",
            unique=True,
            sqlite_where=text("current"),
            postgresql_where=text("current"),
        ),
    )

    fit_id: Mapped[int] = mapped_column(ForeignKey("fits.id"))
    paint_id: Mapped[int] = mapped_column(ForeignKey("paints.id"))
    lot_id: Mapped[int | None] = mapped_column(ForeignKey("lots.id"))
    model: Mapped[str] = mapped_column(default="two-flux", server_default="two-flux")
    current: Mapped[bool]
    beside: Mapped[list[Any]]
    """Nicknames of its coefficients: the paint itself, then its white."""
    verdict: Mapped[str]
    reasons: Mapped[list[Any]]
    de00_mean: Mapped[float | None]
    de00_max: Mapped[float | None]
    patches: Mapped[bytes]
    residuals: Mapped[bytes]
    quality: Mapped[bytes | None]
    """Figures of its quality report; none of fits recorded before those were kept."""
    left_out: Mapped[float | None]
    """Median CIEDE2000 of its steps, each as all others predict it; none where not worked out."""

    fit: Mapped[Fit] = relationship(back_populates="paint_fits")
    paint: Mapped[Paint] = relationship(lazy="joined")
    lot: Mapped[Lot | None] = relationship(lazy="joined")


CURRENT = text("paint_fits.current")
"""Rows of `PaintFit` in use, said as their index says it: else SQLite looks through all tables."""


class Check(Base):
    """How far a fit's prediction of a mixture it never saw lies from the reading."""

    __tablename__ = "checks"

    fit_id: Mapped[int] = mapped_column(ForeignKey("fits.id"), index=True)
    card_id: Mapped[int] = mapped_column(ForeignKey("cards.id"))
    patch: Mapped[str]
    de00: Mapped[float]
    calibration_id: Mapped[int | None] = mapped_column(ForeignKey("calibrations.id"))
    """Of the scanner, where it was a scan; null where an instrument read it."""
    scan_error: Mapped[float | None]
    """The CIEDE2000 that the scan would show of a prediction without fault."""

    card: Mapped[Card] = relationship(lazy="joined")


class Release(Base):
    """A published release."""

    __tablename__ = "releases"

    version: Mapped[str] = mapped_column(unique=True)
    name: Mapped[str]
    created: Mapped[str]
    note: Mapped[str]
    digest: Mapped[str]
    """SHA-256 of its SHA256SUMS."""
    contents: Mapped[dict[str, Any]]
    """Of each paint, the fit that its numbers come from and the words that go with it."""
    gates: Mapped[dict[str, Any] | None]
    """What stood against it, what was left out, and why it was published all the same."""


class Key(Base):
    """A public key that signs the releases of a studio, as it was first seen."""

    __tablename__ = "keys"
    __table_args__ = (UniqueConstraint("studio", "public"),)

    studio: Mapped[str]
    """What the studio's releases call it: a word drawn at random when it first published."""
    public: Mapped[str]
    """Of Ed25519, in hexadecimal."""
    own: Mapped[bool]
    """Whether it is this studio's own."""
    seen: Mapped[str]
    release: Mapped[str]


class Recipe(Base):
    """A mix that was asked for, and the fits that it rests on."""

    __tablename__ = "recipes"

    name: Mapped[str]
    created: Mapped[str]
    target: Mapped[dict[str, Any]]
    parts: Mapped[dict[str, Any]]
    predicted: Mapped[dict[str, Any]]
    fits: Mapped[list[Any]]
    note: Mapped[str] = mapped_column(default="")


class Batch(Base):
    """A recipe as it was weighed out, and what was read of it."""

    __tablename__ = "batches"

    recipe_id: Mapped[int] = mapped_column(ForeignKey("recipes.id"), index=True)
    made: Mapped[str]
    masses: Mapped[dict[str, Any]]
    lots: Mapped[dict[str, Any] | None]
    """Of each paint, the lot in use."""
    portions: Mapped[dict[str, Any] | None]
    """What was measured out, tints as such; null where grams were typed. Its `lab` is predicted."""
    swatch: Mapped[dict[str, Any] | None]
    """What its dried swatch was read as; null until it was."""
    session_id: Mapped[int | None] = mapped_column(ForeignKey("sessions.id"))
    note: Mapped[str] = mapped_column(default="")


class Habit(Base):
    """One thing that the studio remembers of how its painter works, such as the scale's step."""

    __tablename__ = "habits"

    name: Mapped[str] = mapped_column(unique=True)
    value: Mapped[str]


class Drying(Base):
    """A wet and a dried dab of one mix: what it teaches of how its medium dries."""

    __tablename__ = "dryings"

    noted: Mapped[str]
    medium: Mapped[str]
    """The binder of its paints, casefolded; empty where it isn't known."""
    parts: Mapped[dict[str, Any]]
    wet: Mapped[dict[str, Any]]
    dry: Mapped[dict[str, Any]]
    unsure: Mapped[float]


class Plate(Base):
    """What is on a plate after one step, and the state that undoing that step leads back to."""

    __tablename__ = "plates"

    goal: Mapped[str] = mapped_column(index=True)
    """The colour or the recipe that is mixed on it."""
    made: Mapped[str]
    additions: Mapped[list[Any]]
    dab: Mapped[dict[str, Any] | None]
    before: Mapped[int | None]
    """Key of the state before; null where there was none, or it is forgotten."""


class Sent(Base):
    """A form that was carried out, so that it isn't once more when it is sent again."""

    __tablename__ = "sent"

    name: Mapped[str] = mapped_column(unique=True)
    """Drawn by the browser that sent it."""
    path: Mapped[str]
    """Where it led."""
    made: Mapped[str]
