"""Characterised scanners and phones in the studio database."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from sqlalchemy import select

from ...calibrate.errors import Field, InputError
from ..common.remedies import StudioDo
from . import schema
from .in_use import hidden
from .transactions import Subject, now

if TYPE_CHECKING:
    # Only what reads pictures needs the libraries for it.
    from ...calibrate.scan.characterise import Characterised
    from ...calibrate.scan.image import Facts

SCANNER = "scanner"
"""Kind of a device that reads cards through three channels, a phone too."""
CHARACTERISED = "characterisation"
"""Kind of its calibrations."""


@dataclass(frozen=True)
class Scanner:
    """A characterised device as kept.

    Attributes
    ----------
    calibration : int
        Number of the characterisation that counts.
    done : str
        When it was made.
    target : mapping
        What it rests on: the files of picture and values, and their hashes.
    """

    calibration: int
    done: str
    device: Characterised
    target: Mapping[str, Any]

    @classmethod
    def of(cls, row: schema.Calibration) -> Scanner:
        """Bring back what a row keeps."""
        from ...calibrate.scan.characterise import Characterised

        # Its name is the device's, which may have been changed since.
        kept = replace(Characterised.from_dict(row.result["device"]), name=row.device.name)
        return cls(row.id, row.done, kept, row.result["target"])


class Scanners(Subject):
    """Devices that read cards through three channels."""

    def add(self, device: Characterised, target: Mapping[str, Any]) -> Scanner:
        """Keep a characterisation; from now on it is the one that counts of its device.

        Parameters
        ----------
        target : mapping
            What it rests on.

        Raises
        ------
        InputError
            Where an instrument has its name.
        """
        with self._database.transaction() as session:
            row = session.scalar(select(schema.Device).where(schema.Device.name == device.name))
            if row is not None and row.kind != SCANNER:
                raise InputError(
                    None, Field("name"), f"{device.name} is a {row.kind} here", "name it otherwise"
                )
            kept = schema.Calibration(
                device=row or schema.Device(name=device.name, kind=SCANNER),
                done=now(),
                kind=CHARACTERISED,
                result={"device": device.as_dict(), "target": dict(target)},
            )
            session.add(kept)
            session.flush()
            return Scanner.of(kept)

    def all(self) -> list[Scanner]:
        """Every characterised device, by name, as last characterised."""
        query = (
            select(schema.Calibration)
            .join(schema.Device)
            .where(schema.Calibration.kind == CHARACTERISED)
            .order_by(schema.Calibration.id)
        )
        with self._database.snapshot() as session:
            gone = hidden(session, schema.Calibration.__tablename__)
            counting = [row for row in session.scalars(query) if row.id not in gone]
            last = {row.device.name: Scanner.of(row) for row in counting}
        return [last[name] for name in sorted(last)]

    def find(self, name: str | None = None) -> Scanner | None:
        """A device by name; without a name the only one, or None where there is none.

        Raises
        ------
        InputError
            Where there is none of that name, or several to choose from.
        """
        there = {each.device.name: each for each in self.all()}
        if name is None and len(there) < 2:
            return next(iter(there.values()), None)
        if name is None or name not in there:
            names = ", ".join(there) or "none yet"
            raise InputError(
                None,
                Field("device"),
                f"expected one of the devices here ({names})",
                StudioDo.NAME_DEVICE_OR_CHARACTERISE(),
            )
        return there[name]

    def fitting(self, facts: Facts, name: str | None = None) -> Scanner | None:
        """The device of a picture: by name; else the one that its settings fit, best by a target.

        Raises
        ------
        InputError
            As `find`, where it isn't one that fits.
        """
        if name is None:
            fitting = [each for each in self.all() if each.device.settings.fits(facts)]
            surer = [each for each in fitting if each.device.by_target] or fitting
            if len(surer) == 1:
                return surer[0]
        return self.find(name)

    def of_calibration(self, calibration: int) -> Scanner:
        """A device as one of its characterisations has it, by that one's number."""
        with self._database.snapshot() as session:
            return Scanner.of(session.get_one(schema.Calibration, calibration))
