"""Spot-ink characterisation (ISO 17972-4): a paint's tints over black and white, in CxF3.

The text of the standard was not at hand. Names of its elements and attributes are from memory
(a namespace that ends in SpotInkCharacterisation; MeasurementSet with Background; Measurement with
TonePercentage and ObjectId), and only the way out and back in is proven.

A printer's tint is a share of dots, a painter's a mix. Only files that state ``TINTS: parts by
weight`` are taken for a card; a halftone is outside the theory of mixes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from ..errors import InputError
from ..optics.spectra import Array
from . import cells
from .cxf import parse_cxf, parse_document, spectra_of
from .cxf_writing import check_writable, document
from .gathered import Said
from .session import Session

NAMESPACE = "http://colorexchangeformat.com/CxF3-SpotInkCharacterisation"
BY_WEIGHT = "parts by weight"
_ROOT, _SET, _ONE = "SpotInkCharacterisation", "MeasurementSet", "Measurement"
_OVER = {"substrate": "white", "white": "white", "black": "black"}


@dataclass(frozen=True)
class SpotInk:
    """A paint's tints over black and white.

    Attributes
    ----------
    paint, white : str
        Nicknames.
    thickness_um : float
        Of the dry films.
    percent : mapping of step to share of the paint by weight, per cent
        Without the bare substrates.
    session : Session
        Labelled STEP/OVER, the bare substrates ``bare/black`` and ``bare/white``.
    """

    paint: str
    white: str
    thickness_um: float
    percent: Mapping[str, float]
    session: Session


def step_name(percent: float) -> str:
    """Return what a tint is called: ``masstone``, ``25%``; nothing of the paint is ``bare``."""
    if percent == 0:
        return "bare"
    return "masstone" if percent == 100 else f"{percent:g}%"


def format_spot_ink(
    paint: str,
    white: str,
    thickness_um: float,
    percent: Sequence[float],
    over: Sequence[str],
    wavelengths: Array,
    values: Array,
    *,
    geometry: tuple[str, str],
    created: str,
    description: str,
) -> bytes:
    """Write tints as a spot-ink characterisation.

    Parameters
    ----------
    paint, white : str
    thickness_um : float
        Of the dry films.
    percent, over : sequence of N
        Share of the paint by weight, and ``black`` or ``white``; 0 for the bare substrate.
    wavelengths : (W,) array, nm
    values : (N, W) array
        Fractions.
    geometry : (str, str)
        As `Session` has geometry and specular.
    created, description : str

    Returns
    -------
    bytes

    Raises
    ------
    InputError
        As `tintladder.calibrate.formats.cxf_writing.check_writable`.
    """
    from xsdata.formats.dataclass.models.generics import AnyElement

    labels = [f"{step_name(p)}/{o}" for p, o in zip(percent, over, strict=True)]
    sets = [
        AnyElement(
            qname=_qualified(_SET),
            attributes={"Background": "Black" if substrate == "black" else "Substrate"},
            children=[
                AnyElement(
                    qname=_qualified(_ONE),
                    attributes={"TonePercentage": f"{p:g}", "ObjectId": f"sample-{i}"},
                )
                for i, (p, o) in enumerate(zip(percent, over, strict=True), 1)
                if o == substrate
            ],
        )
        for substrate in dict.fromkeys(over)
    ]
    root = AnyElement(qname=_qualified(_ROOT), attributes={"SpotInkName": paint}, children=sets)
    return document(
        labels,
        values,
        check_writable(wavelengths, values, labels),
        geometry=geometry,
        created=created,
        description=description,
        tags={"TINTS": BY_WEIGHT, "WHITE": white, "THICKNESS_UM": f"{thickness_um:g}"},
        custom=[root],
    )


def parse_spot_ink(text: str, file: str, sha256: str, **said: str | None) -> SpotInk | None:
    """Read a spot-ink characterisation; None where the file is CxF3 without one.

    Parameters
    ----------
    text, file, sha256 : str
    said : unit, geometry, specular
        Said by the user where the file doesn't.

    Returns
    -------
    SpotInk or None

    Raises
    ------
    InputError
        As `tintladder.calibrate.formats.cxf.parse_cxf`, and where white, thickness or tints aren't
        stated, or tints are halftones.
    """
    made = parse_document(text, file)
    root = _element(made)
    if root is None:
        return None
    session = parse_cxf(text, file, sha256, Said(**said))
    stated = {cells.normal(key): value for key, value in session.header.items()}
    if stated.get("TINTS", "").strip().lower() != BY_WEIGHT:
        raise InputError(
            file,
            "TINTS",
            f"it doesn't say that its tints are {BY_WEIGHT}; a printer's are shares of dots, which "
            "are no mixes",
            f"if they are mixes, state TINTS {BY_WEIGHT}, WHITE and THICKNESS_UM in the file",
        )
    thickness = cells.number(stated.get("THICKNESSUM", ""))
    if thickness is None or not thickness > 0:
        raise InputError(file, "THICKNESS_UM", "expected the dry films' thickness, µm", "state it")
    if not stated.get("WHITE"):
        raise InputError(file, "WHITE", "expected the white of the tints, by nickname", "state it")
    labels, percent = _labels(root, made, file)
    return SpotInk(
        paint=str(root.attributes.get("SpotInkName", "")),
        white=stated["WHITE"],
        thickness_um=thickness,
        percent={step_name(p): p for p in percent if p > 0},
        session=replace(session, spectra=replace(session.spectra, labels=labels)),
    )


def card_text(ink: SpotInk, name: str) -> str:
    """Return the card file that a spot-ink characterisation amounts to, as TOML.

    Parameters
    ----------
    ink : SpotInk
    name : str
        Of the card.

    Returns
    -------
    str
    """
    lines = [
        f"card = {_quoted(name)}",
        f"paint = {_quoted(ink.paint)}",
        f"white = {_quoted(ink.white)}",
        f"thickness_um = {ink.thickness_um:g}",
        'note = "from a spot-ink characterisation; tints are parts by weight"',
    ]
    for step, percent in sorted(ink.percent.items(), key=lambda item: -item[1]):
        held = {ink.paint: percent, ink.white: 100 - percent}
        masses = ", ".join(f"{_quoted(key)} = {g:.6g}" for key, g in held.items() if g > 0)
        over = ", ".join(
            _quoted(label.rpartition("/")[2])
            for label in dict.fromkeys(ink.session.spectra.labels)
            if label.rpartition("/")[0] == step
        )
        lines += ["", "[[drawdown]]", f"step = {_quoted(step)}", f"masses = {{{masses}}}"]
        lines.append(f"over = [{over}]")
    return "\n".join([*lines, ""])


def _qualified(name: str) -> str:
    return f"{{{NAMESPACE}}}{name}"


def _local(element: Any) -> str:
    return str(getattr(element, "qname", "") or "").rpartition("}")[2]


def _element(made: Any) -> Any:
    """The characterisation, in whatever namespace it stands."""
    held = made.custom_resources.other_element if made.custom_resources else ()
    return next((each for each in held if _local(each) == _ROOT), None)


def _labels(root: Any, made: Any, file: str) -> tuple[tuple[str, ...], list[float]]:
    """Label of each spectrum of the file, and the tints' shares in per cent."""
    of_object: dict[str, tuple[str, float]] = {}
    for each in root.children:
        if _local(each) != _SET:
            continue
        background = str(each.attributes.get("Background", ""))
        over = _OVER.get(background.lower())
        if over is None:
            raise InputError(
                file, f"Background {background!r}", "expected Substrate or Black", "correct it"
            )
        for one in (child for child in each.children if _local(child) == _ONE):
            tone = cells.number(str(one.attributes.get("TonePercentage", "")))
            if tone is None or not 0 <= tone <= 100:
                raise InputError(
                    file,
                    f"MeasurementSet {background}",
                    f"expected TonePercentage from 0 to 100, found "
                    f"{one.attributes.get('TonePercentage')!r}",
                    "correct it",
                )
            of_object[str(one.attributes.get("ObjectId", ""))] = (over, tone)
    labels, percent = [], []
    for _, _, identity in spectra_of(made):
        if identity not in of_object:
            raise InputError(
                file, f"object {identity}", "is of no tint and no substrate", "leave it out"
            )
        over, tone = of_object[identity]
        labels.append(f"{step_name(tone)}/{over}")
        percent.append(tone)
    return tuple(labels), percent


def _quoted(text: str) -> str:
    plain = cells.plain(text).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{plain}"'
