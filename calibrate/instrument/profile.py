"""The profile of an instrument: how to talk to it, and what its readings are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from ..optics.spectra import Array
from ..optics.surface import Geometry
from .corrections import InstrumentOptics
from .reply import Grammar

COMMANDS = ("begin", "identify", "white", "black", "measure", "lamp", "error", "abort")
"""Everything that an instrument may be told; only ``measure`` is needed."""


@dataclass(frozen=True)
class LineSettings:
    """Settings of a serial line.

    Attributes
    ----------
    baud, bits : int
    parity : str
        One letter, as pyserial has it.
    stop : float
    flow : {"none", "hardware", "software"}
    end, reply_end : bytes
        What ends a command and a reply.
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
    timeout_s: float = 10.0
    retries: int = 3


@dataclass(frozen=True)
class Command:
    """What is sent, and what comes back; no grammar where nothing does."""

    send: bytes
    reply: Grammar | None
    reply_end: bytes
    timeout_s: float


@dataclass(frozen=True)
class Status:
    """What the status of a reply means, by code."""

    ok: tuple[str, ...] = ()
    busy: tuple[str, ...] = ()
    white: tuple[str, ...] = ()
    black: tuple[str, ...] = ()
    errors: Mapping[str, str] = field(default_factory=dict)


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
    name, title : str
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
    warm_up_minutes : float
    optics : InstrumentOptics
    line : LineSettings
    wavelengths : (W,) array, nm
    unit : {"fraction", "percent"}
    separator : str
    missing : tuple of str
        What stands for a value that there isn't.
    status : Status
    due : Due
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
    wavelengths: Array
    unit: Literal["fraction", "percent"]
    separator: str
    missing: tuple[str, ...]
    status: Status
    due: Due
    commands: Mapping[str, Command]
