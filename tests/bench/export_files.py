"""Invented spectra, rounded as files round them, and writers of each kind of export file."""

from __future__ import annotations

import io
from dataclasses import dataclass, field

import numpy as np

NAN = float("nan")
#: Invented patches of a boatyard sign shop: base, (centre, width, height) of logistic edges.
PATCHES = {
    "Bare white": (0.10, [(395, 9, 0.78)]),
    "Hull White": (0.06, [(402, 7, 0.80)]),
    "Anchor Blue": (0.055, [(428, 12, 0.22), (505, 16, -0.22), (690, 14, 0.10)]),
    "Rope Earth": (0.07, [(545, 22, 0.36), (640, 40, 0.10)]),
    "Buoy Red": (0.045, [(598, 9, 0.62)]),
    "Keel Green": (0.05, [(478, 14, 0.24), (565, 17, -0.24), (705, 14, 0.12)]),
    "Lamp Orange": (0.05, [(572, 8, 0.66)]),
    "Pitch Black": (0.0455, [(650, 60, 0.004)]),
}
USUAL = ("Hull White", "Anchor Blue", "Rope Earth", "Buoy Red", "Pitch Black")


@dataclass
class Reading:
    """One reading in a file: a patch, what tells it from others, and its true reflectance.

    ``reflectance`` is a fraction 0-1; NaN where the file has no number. ``saturated`` lists the
    wavelengths at which the file says that the instrument was at full scale.
    """

    patch: str
    wavelengths: np.ndarray
    reflectance: np.ndarray
    attrs: dict = field(default_factory=dict)
    saturated: tuple = ()


@dataclass
class Shape:
    """One export file and what a reader owes it.

    ``owes`` is "read" (every patch by name, each reading within 1e-6 of ``rows``, NaN where the
    file has no number), "ask" (no numbers without a choice, a line that names the kind, then
    the truth of each choice of ``kinds``) or "refuse" (no numbers, one clear line).
    ``also_fine`` lists other outcomes that count as right, as long as whatever numbers come are
    the truth. Where the reader asks for the unit, ``unit`` is the answer. ``Reading.saturated``
    lists wavelengths that must be flagged as full scale.
    """

    name: str
    suffix: str
    data: bytes
    owes: str
    readings: list = field(default_factory=list)
    kinds: dict = field(default_factory=dict)
    also_fine: tuple = ()
    note: str = ""
    unit: str | None = None

    def truth(self, **choice: str) -> dict:
        """``{patch: (wavelengths, rows)}`` for one choice; rows (readings, wavelengths), 0-1.

        Without a choice: every reading (the truth of a shape that owes "read"). A patch whose
        readings have different wavelengths raises; no shape has that.
        """
        found: dict = {}
        for r in self.readings:
            if all(r.attrs.get(k, v) == v for k, v in choice.items()):
                found.setdefault(r.patch, []).append(r)
        return {
            p: (rs[0].wavelengths, np.vstack([r.reflectance for r in rs]))
            for p, rs in found.items()
        }

    def write(self, folder) -> str:
        """Write the file to ``folder`` (a pathlib.Path); its path."""
        path = folder / f"{self.name}{self.suffix}"
        path.write_bytes(self.data)
        return path


def spectrum(patch: str, wavelengths, lift: float = 0.0, scale: float = 1.0) -> np.ndarray:
    """Invented smooth reflectance; ``lift`` adds (shine), ``scale`` multiplies (a repeat)."""
    w = np.asarray(wavelengths, float)
    base, edges = PATCHES[patch]
    r = np.full(w.shape, base)
    for centre, width, height in edges:
        r = r + height / (1 + np.exp(-(w - centre) / width))
    return r * scale + lift


def grid(first: float, last: float, step: float) -> np.ndarray:
    return np.arange(first, last + step / 2, step)


def texts(
    values, decimals: int, times: float = 1.0, comma: bool = False
) -> tuple[list[str], np.ndarray]:
    """Numbers as a file prints them, and what they then say (divided by ``times`` again)."""
    out = [f"{v * times:.{decimals}f}" for v in values]
    back = np.array([float(t) for t in out]) / times
    return ([t.replace(".", ",") for t in out] if comma else out), back


def table(rows, sep: str = ",", newline: str = "\r\n") -> str:
    """Rows of cells as delimited text; cells that hold the separator are quoted."""

    def cell(c):
        c = str(c)
        return '"' + c.replace('"', '""') + '"' if sep in c or '"' in c else c

    return "".join(sep.join(cell(c) for c in row) + newline for row in rows)


def cgats(head: list[str], fields: list[str], rows: list[list[str]], newline: str = "\r\n") -> str:
    """One CGATS.17 / ISO 28178 table."""
    lines = [
        *head,
        f"NUMBER_OF_FIELDS {len(fields)}",
        "BEGIN_DATA_FORMAT",
        " ".join(fields),
        "END_DATA_FORMAT",
        f"NUMBER_OF_SETS {len(rows)}",
        "BEGIN_DATA",
        *("\t".join(r) for r in rows),
        "END_DATA",
    ]
    return newline.join(lines) + newline


def workbook(sheets: dict) -> bytes:
    """XLSX bytes; a cell is a value or (value, number format)."""
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.active)
    for title, rows in sheets.items():
        sheet = book.create_sheet(title)
        for i, row in enumerate(rows, 1):
            for j, cell in enumerate(row, 1):
                if cell is None:
                    continue
                value, form = cell if isinstance(cell, tuple) else (cell, None)
                c = sheet.cell(i, j, value)
                if form:
                    c.number_format = form
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def cxf(
    objects: list[tuple[str, list[tuple[str, np.ndarray]]]],
    specs: list[tuple[str, str]],
    start: int,
    step: int,
) -> str:
    """CxF3 (ISO 17972-1): objects ``(name, [(spec id, values)])``, specs ``(id, illumination)``."""
    obj = "".join(
        f'      <cc:Object ObjectType="Standard" Name="{name}" Id="o{i}">\n'
        "        <cc:CreationDate>2026-05-04T09:12:00</cc:CreationDate>\n        <cc:ColorValues>\n"
        + "".join(
            f'          <cc:ReflectanceSpectrum ColorSpecification="{s}" StartWL="{start}">'
            f"{' '.join(f'{v:.4f}' for v in values)}</cc:ReflectanceSpectrum>\n"
            for s, values in spectra
        )
        + "        </cc:ColorValues>\n      </cc:Object>\n"
        for i, (name, spectra) in enumerate(objects, 1)
    )
    spec = "".join(
        f'      <cc:ColorSpecification Id="{s}">\n        <cc:MeasurementSpec>\n'
        "          <cc:MeasurementType>Spectrum_Reflectance</cc:MeasurementType>\n"
        "          <cc:GeometryChoice>\n"
        "            <cc:SingleAngle>\n"
        "              <cc:SingleAngleConfiguration>Annular</cc:SingleAngleConfiguration>\n"
        "              <cc:IlluminationAngle>45</cc:IlluminationAngle>\n"
        "              <cc:MeasurementAngle>0</cc:MeasurementAngle>\n"
        "            </cc:SingleAngle>\n          </cc:GeometryChoice>\n"
        f'          <cc:WavelengthRange StartWL="{start}" Increment="{step}"/>\n'
        "          <cc:Device>\n"
        f"            <cc:DeviceIllumination>{light}</cc:DeviceIllumination>\n"
        "          </cc:Device>\n        </cc:MeasurementSpec>\n      </cc:ColorSpecification>\n"
        for s, light in specs
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<cc:CxF xmlns:cc="http://colorexchangeformat.com/CxF3-core">\n'
        "  <cc:FileInformation>\n    <cc:Creator>sign shop</cc:Creator>\n"
        "    <cc:CreationDate>2026-05-04T09:30:00</cc:CreationDate>\n"
        "    <cc:Description>card 4</cc:Description>\n  </cc:FileInformation>\n  <cc:Resources>\n"
        f"    <cc:ObjectCollection>\n{obj}    </cc:ObjectCollection>\n"
        f"    <cc:ColorSpecificationCollection>\n{spec}    </cc:ColorSpecificationCollection>\n"
        "  </cc:Resources>\n</cc:CxF>\n"
    )
