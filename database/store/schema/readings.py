"""Tables of the studio database: paints, cards, instruments, and what was read or scanned."""

# Annotations stand as they are, not as text: each text would be compiled anew at every start.

from datetime import date
from typing import Any

from sqlalchemy import (
    CheckConstraint,
    ForeignKey,
    Index,
    String,
    UniqueConstraint,
)
from sqlalchemy.orm import Mapped, mapped_column, relationship

from .base import Base

ORDINARY = "ordinary"
FINISHES = (ORDINARY, "metallic", "interference", "fluorescent")
"""Only an ordinary finish is within two-constant theory."""


class Paint(Base):
    """One tube colour of one maker."""

    __tablename__ = "paints"
    __table_args__ = (
        CheckConstraint(f"finish IN {FINISHES}", name="finish"),
        UniqueConstraint("nickname_key"),
    )

    nickname: Mapped[str]
    nickname_key: Mapped[str]
    """The nickname in one case, so that HULL and hull can't both be."""
    name: Mapped[str]
    maker: Mapped[str] = mapped_column(default="")
    range: Mapped[str] = mapped_column(default="")
    pigments: Mapped[list[Any]]
    """Colour Index generic names as on the label."""
    binder: Mapped[str] = mapped_column(default="")
    finish: Mapped[str] = mapped_column(default=ORDINARY)
    note: Mapped[str] = mapped_column(default="")

    lots: Mapped[list["Lot"]] = relationship(
        back_populates="paint", order_by="Lot.id", lazy="selectin", cascade="all, delete-orphan"
    )

    @property
    def on_hand(self) -> bool:
        """Whether any tube of it is on hand."""
        return any(lot.on_hand for lot in self.lots)

    @property
    def current_lot(self) -> "Lot | None":
        """The lot in use: the one opened last of those on hand, else of all."""
        lots = [lot for lot in self.lots if lot.on_hand] or self.lots
        return max(lots, key=lambda lot: (lot.opened or date.min, lot.id), default=None)


class Lot(Base):
    """One tube of a paint."""

    __tablename__ = "lots"
    __table_args__ = (UniqueConstraint("paint_id", "lot"),)

    paint_id: Mapped[int] = mapped_column(ForeignKey("paints.id"))
    lot: Mapped[str] = mapped_column(default="")
    size_ml: Mapped[float | None]
    price: Mapped[float | None]
    density: Mapped[float | None]
    volume_solids: Mapped[float | None]
    opened: Mapped[date | None]
    on_hand: Mapped[bool] = mapped_column(default=True)
    note: Mapped[str] = mapped_column(default="")

    paint: Mapped[Paint] = relationship(back_populates="lots")


class Device(Base):
    """An instrument, by the name its files give it; a scanner or phone, by its owner's."""

    __tablename__ = "devices"

    name: Mapped[str] = mapped_column(unique=True)
    kind: Mapped[str] = mapped_column(default="spectrophotometer")
    serial: Mapped[str] = mapped_column(default="")
    profile: Mapped[dict[str, Any] | None]

    calibrations: Mapped[list["Calibration"]] = relationship(back_populates="device")


class Calibration(Base):
    """What an instrument read of its tile, trap or target, and when."""

    __tablename__ = "calibrations"

    device_id: Mapped[int] = mapped_column(ForeignKey("devices.id"), index=True)
    done: Mapped[str]
    kind: Mapped[str]
    result: Mapped[dict[str, Any]]

    device: Mapped[Device] = relationship(back_populates="calibrations", lazy="joined")


class Card(Base):
    """A drawdown card, by name. What its file says stands in its versions."""

    __tablename__ = "cards"

    name: Mapped[str] = mapped_column(unique=True)

    versions: Mapped[list["CardVersion"]] = relationship(
        back_populates="card", order_by="CardVersion.id"
    )


class CardVersion(Base):
    """A card file as it was read. A corrected file is a further version; the last one holds."""

    __tablename__ = "card_versions"
    __table_args__ = (CheckConstraint("purpose IN ('fit', 'check')", name="purpose"),)

    card_id: Mapped[int] = mapped_column(ForeignKey("cards.id"), index=True)
    file: Mapped[str]
    text: Mapped[str] = mapped_column(String)
    """As the file has it, to the last character."""
    sha256: Mapped[str]
    added: Mapped[str]
    purpose: Mapped[str]
    layout: Mapped[str | None]
    date: Mapped[str | None]
    balance_g: Mapped[float]
    sealed: Mapped[bool]
    note: Mapped[str]

    card: Mapped[Card] = relationship(back_populates="versions")
    drawdowns: Mapped[list["Drawdown"]] = relationship(order_by="Drawdown.id", lazy="selectin")


class Drawdown(Base):
    """One mix, drawn down once over the card's substrates."""

    __tablename__ = "drawdowns"
    __table_args__ = (UniqueConstraint("card_version_id", "step"),)

    card_version_id: Mapped[int] = mapped_column(ForeignKey("card_versions.id"))
    step: Mapped[str]
    paint_id: Mapped[int | None] = mapped_column(ForeignKey("paints.id"), index=True)
    white_id: Mapped[int | None] = mapped_column(ForeignKey("paints.id"))
    masses: Mapped[dict[str, Any]]
    taken_from: Mapped[str | None]
    taken_g: Mapped[float | None]
    lots: Mapped[dict[str, Any]]
    over: Mapped[list[Any]]
    opaque: Mapped[bool]
    gap_um: Mapped[float | None]
    thickness_um: Mapped[float | None]
    surface: Mapped[str]
    coats: Mapped[int]
    hours_dried: Mapped[float | None]

    paint: Mapped[Paint | None] = relationship(foreign_keys=paint_id, lazy="joined")
    white: Mapped[Paint | None] = relationship(foreign_keys=white_id, lazy="joined")


class Session(Base):
    """A file of readings as it came in."""

    __tablename__ = "sessions"
    __table_args__ = (
        Index("ix_sessions_once", "card_id", "sha256", "attempt", unique=True),
        CheckConstraint("unit IN ('fraction', 'percent')", name="unit"),
        CheckConstraint("specular IN ('included', 'excluded')", name="specular"),
        CheckConstraint("state IN ('dry', 'wet')", name="state"),
    )

    card_id: Mapped[int] = mapped_column(ForeignKey("cards.id"))
    device_id: Mapped[int | None] = mapped_column(ForeignKey("devices.id"))
    calibration_id: Mapped[int | None] = mapped_column(ForeignKey("calibrations.id"))
    file: Mapped[str]
    sha256: Mapped[str]
    format: Mapped[str]
    unit: Mapped[str]
    geometry: Mapped[str]
    specular: Mapped[str]
    condition: Mapped[str | None]
    state: Mapped[str]
    date: Mapped[str | None]
    header: Mapped[dict[str, Any]]
    wavelengths: Mapped[list[Any]]
    added: Mapped[str]
    attempt: Mapped[int] = mapped_column(default=1, server_default="1")
    """Number of the import of this file; a further one only where those before were undone."""
    corrections: Mapped[dict[str, Any] | None]
    """Stage by stage, with all that they rest on; None where readings are taken as they are."""

    card: Mapped[Card] = relationship()
    device: Mapped[Device | None] = relationship(lazy="joined")
    calibration: Mapped[Calibration | None] = relationship(lazy="joined")
    readings: Mapped[list["Reading"]] = relationship(order_by="Reading.id", lazy="selectin")


class Reading(Base):
    """One spectrum as read: fractions on the session's wavelengths, null where missing."""

    __tablename__ = "readings"
    __table_args__ = (UniqueConstraint("session_id", "patch", "repeat"),)

    session_id: Mapped[int] = mapped_column(ForeignKey("sessions.id"))
    patch: Mapped[str]
    repeat: Mapped[int]
    reflectance: Mapped[list[Any]]
    flags: Mapped[list[Any]]
    corrected: Mapped[list[Any] | None]
    """The same after the session's corrections."""


class Scan(Base):
    """A picture of a card, and how it was read; the last attempt at a picture counts."""

    __tablename__ = "scans"
    __table_args__ = (UniqueConstraint("card_id", "sha256", "attempt"),)

    card_id: Mapped[int] = mapped_column(ForeignKey("cards.id"))
    calibration_id: Mapped[int | None] = mapped_column(ForeignKey("calibrations.id"))
    """The characterisation of its device; none where it was read as plain sRGB."""
    file: Mapped[str]
    sha256: Mapped[str]
    attempt: Mapped[int]
    taken: Mapped[str | None]
    """The day that the picture itself states."""
    added: Mapped[str]
    settings: Mapped[dict[str, Any]]
    """Of the device, as the picture shows them."""
    dpi: Mapped[float]
    asked: Mapped[dict[str, Any]]
    """What was said of it: the grey's reflectance, steps left unpainted."""
    level_from: Mapped[str]
    evened: Mapped[dict[str, Any]]
    """Stray and uneven light taken away."""
    remarks: Mapped[list[Any]]

    card: Mapped[Card] = relationship()
    calibration: Mapped[Calibration | None] = relationship(lazy="joined")
    patches: Mapped[list["ScanPatch"]] = relationship(order_by="ScanPatch.id", lazy="selectin")


class ScanPatch(Base):
    """A patch of a scanned card: linear red, green and blue, a perfect diffuser reads 1."""

    __tablename__ = "scan_patches"
    __table_args__ = (UniqueConstraint("scan_id", "patch", "repeat"),)

    scan_id: Mapped[int] = mapped_column(ForeignKey("scans.id"))
    patch: Mapped[str]
    repeat: Mapped[int]
    channels: Mapped[list[Any]]
    variance: Mapped[list[Any]]
    lab: Mapped[list[Any]]
    spread: Mapped[float]
    left_out: Mapped[float]
    flag: Mapped[str] = mapped_column(default="")


class Sitting(Base):
    """Work at an instrument: open until a session is made of it, or it is given up."""

    __tablename__ = "sittings"

    card_id: Mapped[int] = mapped_column(ForeignKey("cards.id"))
    started: Mapped[str]
    ended: Mapped[str | None]
    session_id: Mapped[int | None] = mapped_column(ForeignKey("sessions.id"))
    profile: Mapped[str]
    """The instrument's profile, whole, as it was then."""
    plan: Mapped[dict[str, Any]]
    """Port, name of the profile's file, repeats; file of the tiles' certified values, if any."""
    skipped: Mapped[list[Any]]

    card: Mapped[Card] = relationship(lazy="joined")


class SittingReading(Base):
    """One spectrum just as the instrument sent it; of a place read again, the last round counts."""

    __tablename__ = "sitting_readings"
    __table_args__ = (UniqueConstraint("sitting_id", "place", "round", "repeat"),)

    sitting_id: Mapped[int] = mapped_column(ForeignKey("sittings.id"))
    place: Mapped[str]
    round: Mapped[int]
    repeat: Mapped[int]
    taken: Mapped[str]
    reflectance: Mapped[list[Any]]
    said: Mapped[dict[str, Any]]


class Import(Base):
    """Files taken in together. One that was undone stays, marked: nothing read is ever deleted."""

    __tablename__ = "imports"

    done: Mapped[str]
    files: Mapped[list[Any]]
    sessions: Mapped[list[Any]]
    card_versions: Mapped[list[Any]]
    scans: Mapped[list[Any]] = mapped_column(default=list, server_default="[]")
    undone: Mapped[str | None]
