"""CxF3 (ISO 17972), colour exchange as XML: readings in and out.

Elements are those of the schema as the open library colour-cxf holds it, which is lenient: it
expands entities, takes any root for an empty document, and turns a bad number into text with a
warning. So a document type is refused before it is parsed, and its warnings are errors here. By the
schema reflectance is a fraction ("100% = 1.0").
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from ..errors import InputError
from . import cells
from .gathered import Said, session_of
from .headings import Wavelength
from .rows import Sample, Table
from .session import Session
from .statements import Statement, Unit, topic

NAMESPACE = "http://colorexchangeformat.com/CxF3-core"
_SAYS_NOTHING = Said()
_DECLARATION = re.compile(r"\A\s*<\?xml.*?\?>", re.DOTALL)
_ROOT = re.compile(r"<([A-Za-z_][\w.-]*:)?CxF\b[^<>]*>")
_SPECULAR = {"Specular_Included": "included", "Specular_Excluded": "excluded"}
_FARTHEST_NM = 1e5
"""No instrument for paint reads beyond; a number far greater is no wavelength."""
_EXPORT = "export the readings again, as CxF3 with reflectance spectra"


def parse_document(text: str, file: str) -> Any:
    """Parse CxF3 text safely: no document type, no entities of its own, nothing fetched.

    Parameters
    ----------
    text : str
    file : str
        What an error names.

    Returns
    -------
    Element
        The root.

    Raises
    ------
    InputError
        For XML with a document type, XML of another kind, and what isn't as the schema has it.
    """
    if re.search(r"<!\s*(DOCTYPE|ENTITY)", text, re.IGNORECASE):
        raise InputError(
            file,
            None,
            "it declares a document type, which readings have no need of and which isn't safe",
            "export the readings again, or delete that declaration",
        )
    root = _ROOT.search(text)
    if root is None or NAMESPACE not in root[0]:
        raise InputError(file, None, "expected CxF3, this looks like other XML or HTML", _EXPORT)
    from colour_cxf import read_cxf

    # In UTF-8 whatever it says of itself: it has been decoded already.
    data = _DECLARATION.sub("", text).encode()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            return read_cxf(data)
    except Exception as problem:  # the parser beneath raises errors of many kinds
        words = " ".join(str(problem).split())[:120] or type(problem).__name__
        raise InputError(
            file, None, f"it isn't CxF3 as the schema has it ({words})", _EXPORT
        ) from None


def spectra_of(document: Any) -> Iterator[tuple[str, Any, str]]:
    """Name, spectrum and id of every object's reflectance spectra."""
    from colour_cxf import cxf3

    found = document.resources and document.resources.object_collection
    for each in found.object_value if found else ():
        for value in each.color_values.choice if each.color_values else ():
            if isinstance(value, cxf3.ReflectanceSpectrum):
                yield cells.plain(each.name or each.id or ""), value, each.id or ""


def parse_cxf(text: str, file: str, sha256: str, said: Said = _SAYS_NOTHING) -> Session:
    """Read CxF3.

    Spectra of different specifications are different tables: that is how it tells readings of one
    sample with the specular component from those without, and M0 from M1.

    Parameters
    ----------
    text : str
    file, sha256 : str
        As the session is to name them.
    said : Said
        What the user says of it.

    Returns
    -------
    Session

    Raises
    ------
    InputError
        For anything that can't be read without guessing, and for impossible reflectances.
    """
    document = parse_document(text, file)
    read = [(name, spectrum) for name, spectrum, _ in spectra_of(document)]
    if not read:
        raise InputError(file, None, "there is no reflectance spectrum in it", _EXPORT)
    for number, (name, _) in enumerate(read, 1):
        if not name:
            raise InputError(
                file,
                f"spectrum {number}",
                "this sample has no name",
                "name it as on the card, such as masstone/black",
            )
    own = list(_information(document))
    if others := _without_spectrum(document):
        own.append(Statement("ObjectCollection", "OBJECTS_WITHOUT_SPECTRUM", ", ".join(others)))
    # What the file says in words of its own is nearer than what the schema has words for.
    nearer = {topic(statement.key) for statement in own} & {"geometry", "date"}
    specifications = _specifications(document)
    tables: dict[tuple[object, ...], Table] = {}
    for name, spectrum in read:
        key = spectrum.color_specification
        if key not in specifications:
            raise InputError(
                file, f"specification {key}", "is named by a spectrum but isn't there", _EXPORT
            )
        wl = _wavelengths(name, spectrum, specifications[key], file)
        # The schema's own statement, which only the user may overrule.
        unit: Unit | None = None if said.unit else "fraction"
        where = f"specification {key}"
        table = tables.setdefault(
            (key, *wl),
            Table(
                where,
                [Wavelength(nm, unit) for nm in wl],
                [],
                [s for s in _measured(specifications[key], where) if topic(s.key) not in nearer],
            ),
        )
        cells_ = ["" if value is None else repr(float(value)) for value in spectrum.value]
        _check_numbers(name, spectrum.value, file)
        table.samples.append(Sample(f"sample {name}", {"NAME": name}, cells_))
    found = list(tables.values())
    found[0].statements = [*own, *found[0].statements]
    return session_of(found, file, sha256, "CxF3", said)


def _check_numbers(name: str, values: Sequence[float], file: str) -> None:
    if not np.isfinite(np.array(values, dtype=float)).all():
        raise InputError(
            file, f"sample {name}", "a reflectance is no number", "leave the sample out"
        )


def _without_spectrum(document: Any) -> list[str]:
    """Names of the objects that hold no reflectance spectrum: colours alone, or other readings."""
    read = {identity for _, _, identity in spectra_of(document)}
    every = document.resources.object_collection.object_value
    return [cells.plain(each.name or each.id or "?") for each in every if each.id not in read]


def _specifications(document: Any) -> dict[str, Any]:
    held = document.resources.color_specification_collection
    return {each.id: each for each in (held.color_specification if held else ())}


def _wavelengths(name: str, spectrum: Any, specification: Any, file: str) -> list[float]:
    """The wavelengths of a spectrum."""
    said = specification.measurement_spec
    span = said.wavelength_range if said else None
    start = spectrum.start_wl if spectrum.start_wl is not None else span and span.start_wl
    step = span.increment if span else None
    if not start or not step or not 0 < step < _FARTHEST_NM or start > _FARTHEST_NM:
        raise InputError(
            file,
            f"sample {name}",
            "its first wavelength or its step isn't stated",
            "export the readings again, with their wavelength range",
        )
    wl: list[float] = (start + step * np.arange(len(spectrum.value), dtype=float)).tolist()
    return wl


def _measured(specification: Any, where: str) -> Iterator[Statement]:
    """What a specification states of the instrument and how it was used."""
    from colour_cxf.cxf3.esphere_type import EsphereType
    from colour_cxf.cxf3.single_angle_type import SingleAngleType

    said = specification.measurement_spec
    if said is None:
        return
    geometry = said.geometry_choice.choice if said.geometry_choice else None
    if isinstance(geometry, SingleAngleType):
        angles = f"{geometry.illumination_angle:g}:{geometry.measurement_angle:g}"
        yield Statement(where, "MEASUREMENT_GEOMETRY", angles)
    elif isinstance(geometry, EsphereType) and geometry.value in _SPECULAR:
        # Either way round a sphere reads the same (Helmholtz reciprocity).
        yield Statement(where, "MEASUREMENT_GEOMETRY", "d:8")
        yield Statement(where, "SPECULAR", _SPECULAR[geometry.value])
    device = said.device
    if device is not None:
        name = " ".join(part for part in (device.manufacturer, device.model) if part)
        if name:
            yield Statement(where, "INSTRUMENTATION", name)
        if device.serial_number:
            yield Statement(where, "SERIAL_NUMBER", device.serial_number)
        lit = device.device_illumination and device.device_illumination.value
        if lit and re.match(r"M[0-3]_", lit.value):
            yield Statement(where, "MEASUREMENT_CONDITION", lit.value[:2])
    for key in ("aperture", "backing", "calibration_standard", "bandpass_corrected"):
        value = getattr(said, key)
        if value is not None:
            yield Statement(
                where, key.upper(), str(value).lower() if value in (True, False) else value
            )


def _information(document: Any) -> Iterator[Statement]:
    """What the file states of itself."""
    said = document.file_information
    if said is None:
        return
    where = "FileInformation"
    for key in ("creator", "description", "comment"):
        if getattr(said, key):
            yield Statement(where, key.upper(), cells.plain(getattr(said, key)))
    tags = [tag for tag in said.tag if tag.name and tag.value]
    for tag in tags:
        yield Statement(where, tag.name, tag.value)
    dated = any(topic(tag.name) == "date" for tag in tags)
    if said.creation_date and said.creation_date.value and not dated:
        yield Statement(where, "CREATED", str(said.creation_date.value))
