"""What a file of readings states about itself: unit, geometry, instrument, calibration, date."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal, NamedTuple

from ..errors import CalibrateDo, Field, InputError, Sentence
from ..optics.surface import GEOMETRIES, Geometry
from .cells import normal

Unit = Literal["fraction", "percent"]
Specular = Literal["included", "excluded"]

_TOPICS = {
    "REFLECTANCEUNIT": "unit",
    "REFLECTANCEUNITS": "unit",
    "UNIT": "unit",
    "UNITS": "unit",
    "MEASUREMENTGEOMETRY": "geometry",
    "GEOMETRY": "geometry",
    "SPECULAR": "specular",
    "SPECULARCOMPONENT": "specular",
    "SAMPLESTATE": "state",
    "STATE": "state",
    "MEASUREMENTCONDITION": "condition",
    "CONDITION": "condition",
    "FILTER": "condition",
    "MEASUREMENTSOURCE": "condition",
    "CREATED": "date",
    "DATE": "date",
    "INSTRUMENTATION": "device",
    "INSTRUMENT": "device",
    "DEVICE": "device",
    **dict.fromkeys(
        ("SERIALNUMBER", "INSTRUMENTSERIAL", "INSTRUMENTSERIALNUMBER", "DEVICESERIALNUMBER"),
        # SERIAL alone is the printed target's, in CGATS.
        "serial",
    ),
    **dict.fromkeys(
        ("CALIBRATED", "CALIBRATEDON", "CALIBRATIONDATE", "DATEOFCALIBRATION", "LASTCALIBRATION"),
        "calibrated",
    ),
    **dict.fromkeys(
        ("CALIBRATIONTILE", "WHITETILE", "CALIBRATEDWITH", "CALIBRATIONREFERENCE"), "tile"
    ),
}
_UNITS: dict[str, Unit] = {
    **dict.fromkeys(
        ("fraction", "fractions", "decimal", "factor", "0-1", "0..1", "0 to 1", "0–1", "1", "1.0"),
        "fraction",
    ),
    **dict.fromkeys(
        (
            "percent",
            "%",
            "pct",
            "percentage",
            "0-100",
            "0..100",
            "0 to 100",
            "0–100",
            "%r",
            "r%",
            "r [%]",
            "r (%)",
            "% r",
            "%reflectance",
            "% reflectance",
        ),
        "percent",
    ),
}
_OF_REFLECTANCE = re.compile(r"reflect|remission|\bR\b|\bvalues\b", re.IGNORECASE)
_IN_TITLES: tuple[tuple[re.Pattern[str], Unit], ...] = (
    (re.compile(r"%|\bpercent\b|\bpct\b|\b0\s*(?:-|–|\.\.|to)\s*100\b", re.IGNORECASE), "percent"),
    (
        re.compile(r"\bfractions?\b|\b0\s*(?:-|–|\.\.|to)\s*1(?:\.0)?\b(?![0-9])", re.IGNORECASE),
        "fraction",
    ),
)
_SPECULAR: dict[str, Specular] = {
    **dict.fromkeys(("included", "include", "sci", "in", "yes"), "included"),
    **dict.fromkeys(("excluded", "exclude", "sce", "ex", "no"), "excluded"),
}
_WORDS: dict[str, tuple[dict[str, Any], str]] = {
    "unit": (_UNITS, "percent or fraction"),
    "specular": (_SPECULAR, "included or excluded"),
    "state": ({"dry": "dry", "wet": "wet"}, "dry or wet"),
}
"""What a statement of one word may say, and what is expected of it."""
_SIDE = r"(45[acx]?|0|8|d[ie]?)"
_GEOMETRY = re.compile(rf"(?<![0-9a-z]){_SIDE}\s*[:/]\s*{_SIDE}(?![0-9a-z])")
_DATES = ("%d.%m.%Y", "%d %B %Y", "%d %b %Y", "%B %d, %Y", "%b %d, %Y", "%B %d %Y", "%b %d %Y")


class Statement(NamedTuple):
    """One statement of a file, as written, and where it stands."""

    where: str
    key: str
    value: str


@dataclass(frozen=True)
class Stated:
    """What file and options together state; the fields are those of `Session`."""

    unit: Unit
    geometry: Geometry
    specular: Specular
    condition: str | None
    state: Literal["dry", "wet"]
    date: str | None
    device: str | None
    serial: str | None = None
    calibrated: str | None = None
    tile: str | None = None
    header: dict[str, str] = field(default_factory=dict)

    @property
    def scale(self) -> float:
        """Divisor that makes the file's numbers fractions."""
        return 100.0 if self.unit == "percent" else 1.0

    def fields(self) -> dict[str, Any]:
        """Everything, by the names that `Session` gives it."""
        return dict(vars(self))


def unit_word(text: str) -> Unit | None:
    """Return the unit that a word stands for, or None."""
    return _UNITS.get(text.strip().lower())


def unit_in(text: str) -> Unit | None:
    """Return the unit that a title states of the reflectances below it, or None.

    Examples
    --------
    >>> unit_in("Card 1, reflectance in %"), unit_in("Humidity 45 %")
    ('percent', None)
    """
    if not _OF_REFLECTANCE.search(text):
        return None
    said = {unit for pattern, unit in _IN_TITLES if pattern.search(text)}
    return said.pop() if len(said) == 1 else None


def condition_in(text: str) -> str | None:
    """Return the one measurement condition of ISO 13655 that a text names, or None."""
    found = set(re.findall(r"(?<![A-Z0-9])M[0-3](?![A-Z0-9])", text.upper()))
    return found.pop() if len(found) == 1 else None


def topic(key: str) -> str | None:
    """Return what a statement's keyword is about, or None if it isn't understood."""
    return _TOPICS.get(normal(key))


def parse_geometry(text: str) -> tuple[Geometry, Specular | None] | None:
    """Geometry and specular component that a text names, or None.

    Understands the notation of CIE 15 (``di:8``, ``de:8``, ``8:di``, ``45:0``, ``45a:0``) and the
    older ``d/8``, ``8/d``, ``45/0``, ``0/45``, with or without degree signs. ``d`` alone leaves the
    specular component open; 45:0 never sees it.
    """
    words = re.sub(r"°|º|\bdeg(?:rees?)?\b", "", text.lower())
    found = {match.groups() for match in _GEOMETRY.finditer(words)}
    if len(found) != 1:
        return None
    ((left, right),) = found
    if {left[:2], right[:2]} == {"45", "0"}:
        return "45:0", "excluded"
    sphere = left if left.startswith("d") else right
    geometry: Geometry
    if left.startswith("d") and right == "8":
        geometry = "di:8"
    elif left == "8" and right.startswith("d"):
        geometry = "8:di"
    else:
        return None
    specular: Specular | None = {"di": "included", "de": "excluded"}.get(sphere)  # type: ignore[assignment]
    said = {_SPECULAR[w] for w in re.findall(r"[a-z]+", words) if len(w) > 2 and w in _SPECULAR}
    if specular:
        said.add(specular)
    if len(said) > 1:
        return None
    return geometry, said.pop() if said else None


def _date(text: str) -> str | None:
    """ISO 8601 of a date; None where day and month could be mistaken."""
    text = text.strip()
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        for form in _DATES:
            try:
                return datetime.strptime(text, form).date().isoformat()
            except ValueError:
                continue
        return None
    return moment.isoformat() if len(text) > 10 else moment.date().isoformat()


class _Reader:
    """Collects statements, and refuses two that contradict each other."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.said: dict[str, tuple[str, str | Field]] = {}
        self.header: dict[str, str] = {}

    def keep(self, key: str, value: str) -> None:
        before = self.header.get(key)
        if before is None:
            self.header[key] = value
        elif value not in before.split("; "):
            self.header[key] = f"{before}; {value}"

    def say(self, about: str, value: str, where: str) -> None:
        before = self.said.setdefault(about, (value, where))
        if before[0] != value:
            raise InputError(
                self.file,
                where,
                f"{about} is {value} here but {before[0]} by {before[1]}",
                "correct the file, or split it so that each part has one",
            )

    def refuse(self, statement: Statement, expected: str) -> InputError:
        return InputError(
            self.file,
            f"{statement.where}, {statement.key}",
            f"expected {expected}, found {statement.value[:40]!r}",
            "correct that statement in the file",
        )

    def read(self, statement: Statement) -> None:
        where, key, value = statement
        about = topic(key)
        if about in _WORDS:
            meant, expected = _WORDS[about]
            word = value.strip().lower()
            if word not in meant:
                raise self.refuse(statement, expected)
            self.say(about, meant[word], where)
        elif about == "geometry" and (geometry := parse_geometry(value)) is not None:
            self.say("geometry", geometry[0], where)
            if geometry[1]:
                self.say("specular", geometry[1], where)
        elif about == "condition" and (found := set(re.findall(r"\bM[0-3]\b", value.upper()))):
            if len(found) > 1:
                raise self.refuse(statement, "one of M0, M1, M2, M3")
            condition = found.pop()
            self.say("condition", condition, where)
            if value.strip().upper() != condition:
                self.keep(key, value)
        elif about and about not in self.said and (said := _said_once(about, value)):
            self.say(about, said, where)
        else:
            self.keep(key, value)


def _said_once(about: str, value: str) -> str | None:
    """What a statement says of which the first one counts, and others are only kept."""
    if about in ("date", "calibrated"):
        return _date(value)
    return value if about in ("device", "serial", "tile") else None


def _options(
    unit: str | None, geometry: str | None, specular: str | None
) -> list[tuple[str, str, Field]]:
    """What the user says as (about, value, field), with what a geometry implies."""
    said: list[tuple[str, str, Field]] = []
    if unit is not None:
        if unit not in ("fraction", "percent"):
            raise InputError(None, Field("unit"), f"got {unit!r}", "give percent or fraction")
        said.append(("unit", unit, Field("unit")))
    if specular is not None and specular not in ("included", "excluded"):
        raise InputError(None, Field("specular"), f"got {specular!r}", "give included or excluded")
    implied: str | None = None
    if geometry is not None:
        parsed = parse_geometry(geometry)
        if parsed is None:
            raise InputError(
                None, Field("geometry"), f"got {geometry!r}", f"give one of {', '.join(GEOMETRIES)}"
            )
        said.append(("geometry", parsed[0], Field("geometry")))
        implied = parsed[1]
        # "di:8" is also what the instrument is called, so the user may still say "excluded".
        if specular == "excluded" and implied == "included":
            implied = None
    for value, asked in ((specular, Field("specular")), (implied, Field("geometry"))):
        if value is not None:
            said.append(("specular", value, asked))
    return said


def resolve(
    statements: Sequence[Statement],
    file: str,
    *,
    column_unit: Unit | None = None,
    unit: str | None = None,
    geometry: str | None = None,
    specular: str | None = None,
) -> Stated:
    """Put together what a file states and what the user says of it; nothing is guessed.

    Parameters
    ----------
    statements : sequence of Statement
    file : str
    column_unit : {"fraction", "percent"}, optional
        As the names of the spectral columns state it.
    unit, geometry, specular : str, optional
        As the user says it; must not contradict the file.

    Returns
    -------
    Stated

    Raises
    ------
    InputError
        Where unit, geometry or specular component are stated nowhere, or contradict each other.
    """
    reader = _Reader(file)
    for statement in statements:
        reader.read(statement)
    if column_unit:
        reader.say("unit", column_unit, "the column names")
    for about, value, asked in _options(unit, geometry, specular):
        before = reader.said.setdefault(about, (value, asked))
        if before[0] != value:
            raise InputError(
                file,
                before[1] if before[1] != asked else None,
                Sentence(f"{about} is {before[0]} here but {value} by ", asked),
                Sentence("leave out ", asked, ", or correct the file if it is wrong"),
            )
    said = {about: value for about, (value, _) in reader.said.items()}
    if "unit" not in said:
        raise InputError(
            file,
            None,
            "it doesn't say whether reflectance is in percent or a fraction of 1",
            CalibrateDo.SAY_UNIT(),
        )
    if "geometry" not in said:
        raise InputError(
            file,
            None,
            "it doesn't say the instrument's geometry",
            CalibrateDo.SAY_GEOMETRY(),
        )
    if "specular" not in said:
        raise InputError(
            file,
            None,
            f"it says {said['geometry'].replace('di', 'd')} but not whether the specular "
            "reflection is included",
            CalibrateDo.SAY_SPECULAR(),
        )
    return Stated(
        unit=said["unit"],  # type: ignore[arg-type]
        geometry=said["geometry"],  # type: ignore[arg-type]
        specular=said["specular"],  # type: ignore[arg-type]
        condition=said.get("condition"),
        state=said.get("state", "dry"),  # type: ignore[arg-type]
        date=said.get("date"),
        device=said.get("device"),
        serial=said.get("serial"),
        calibrated=said.get("calibrated"),
        tile=said.get("tile"),
        header=reader.header,
    )
