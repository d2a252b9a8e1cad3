"""The profile of an instrument: how to talk to it, and what its readings are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from ..optics.spectra import Array
from ..optics.surface import Geometry
from .corrections import InstrumentOptics
from .protocol.frame import Frame
from .protocol.numbers import Values
from .protocol.reply import Grammar

COMMANDS = (
    "begin", "identify", "forget", "white", "black", "measure", "poll", "fetch", "lamp", "error",
    "abort",
)  # fmt: skip
"""Everything that an instrument may be told; only ``measure`` is needed."""


@dataclass(frozen=True)
class LineSettings:
    """Settings of a serial line.

    Attributes
    ----------
    parity : str
        One letter, as pyserial has it.
    flow : {"none", "hardware", "software"}
    end, reply_end : bytes
        What ends a command and a reply; empty where nothing does.
    echo : bool
        Whether what was sent comes back before the reply.
    prompt : bytes
        What stands behind each reply.
    again : bytes
        What it sends, alone, where it didn't understand the bytes of a command.
    timeout_s : float
        How long a reply may take.
    retries : int
        How often a command is sent anew after a fault.
    """

    baud: int = 9600
    bits: int = 8
    parity: str = "N"
    stop: float = 1
    flow: str = "none"
    end: bytes = b"\r\n"
    reply_end: bytes = b"\r\n"
    echo: bool = False
    prompt: bytes = b""
    again: bytes = b""
    timeout_s: float = 10.0
    retries: int = 3


@dataclass(frozen=True)
class Command:
    """What is sent, and what comes back; no grammar where nothing does.

    Attributes
    ----------
    send : bytes
        Empty where the instrument's own button makes it answer.
    button : bool
        Whether its button is pressed in place of anything sent.
    then : tuple of str
        Commands that follow until it is done, such as ``poll`` and ``fetch``.
    every_s : float
        How long to wait before a command that said busy is sent again.
    """

    send: bytes
    reply: Grammar | None
    reply_end: bytes
    timeout_s: float
    button: bool = False
    then: tuple[str, ...] = ()
    every_s: float = 0.2


@dataclass(frozen=True)
class Status:
    """What the status of a reply means, by code; and its flags, by the bit that each is."""

    ok: tuple[str, ...] = ()
    busy: tuple[str, ...] = ()
    white: tuple[str, ...] = ()
    black: tuple[str, ...] = ()
    errors: Mapping[str, str] = field(default_factory=dict)
    flags: Mapping[int, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Calibration:
    """How an instrument calibrates itself.

    Attributes
    ----------
    order : tuple of {"white", "black"}
    before_reading : bool
        Whether it reads nothing before it was calibrated. Then each is done in order, at first and
        whenever one is due; else only what is due, on what a reading shows to lie there.
    readings : int or None
        How many readings a calibration holds for.
    """

    order: tuple[Literal["white", "black"], ...] = ("black", "white")
    before_reading: bool = False
    readings: int | None = None

    @property
    def ends_on_white(self) -> bool:
        """Whether it lies on its white tile when all is calibrated: then that is read first."""
        return self.before_reading and self.order[-1] == "white"


@dataclass(frozen=True)
class Due:
    """When tile and trap are read again, and what they may read.

    Attributes
    ----------
    tile_minutes, trap_minutes : float
        Since they were last read.
    lamp_hours : float
        Burnt since then, where the instrument tells.
    drift : float
        By how much the tile may read another reflectance than when it was read before; more, and
        the instrument is calibrated anew.
    tile_least, trap_most : float
        Mean reflectance below which no white tile lies there, and above which no trap does.
    """

    tile_minutes: float = 30.0
    trap_minutes: float = 240.0
    lamp_hours: float = 2.0
    drift: float = 0.005
    tile_least: float = 0.6
    trap_most: float = 0.03


@dataclass(frozen=True)
class Profile:
    """How to talk to an instrument, and what its readings are.

    Attributes
    ----------
    file : str
        Where it was read from, for messages.
    text : str
        The whole file, which a session keeps.
    geometry : {"di:8", "8:di", "45:0"}
    specular : {"included", "excluded"}
    condition : {"M0", "M1", "M2", "M3"} or None
        Of ISO 13655.
    contact : bool
        Whether it touches what it reads.
    aperture_mm : float or None
        Diameter that it sees.
    frame : Frame or None
        What stands around each message, both ways.
    wavelengths : (W,) array, nm
    unit : {"fraction", "percent"}
    values : Values
        What the numbers of a reading look like.
    commands : mapping of name to Command
    """

    name: str
    title: str
    file: str
    text: str
    geometry: Geometry
    specular: Literal["included", "excluded"]
    condition: str | None
    contact: bool
    aperture_mm: float | None
    warm_up_minutes: float
    optics: InstrumentOptics
    line: LineSettings
    frame: Frame | None
    wavelengths: Array
    unit: Literal["fraction", "percent"]
    values: Values
    status: Status
    calibration: Calibration
    due: Due
    commands: Mapping[str, Command]

    @property
    def by_button(self) -> bool:
        """Whether readings are started at the instrument itself."""
        return self.commands["measure"].button

    def said(self, payload: bytes) -> bytes:
        """Return a payload as it is sent: with its frame, or with the end of a command."""
        return self.frame.write(payload) if self.frame is not None else payload + self.line.end
