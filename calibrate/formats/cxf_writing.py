"""Readings written as CxF3 (ISO 17972)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from ..errors import InputError
from ..optics.spectra import Array
from .session import Session

SPECIFICATION = "tintladder-1"
_LIT = ("M0_INCANDESCENT", "M1_DAYLIGHT", "M2_UVEXCLUDED", "M3_POLARIZED")
_FIRST, _LAST = 360, 400
"""Between these the schema lets a spectrum begin, nm."""


def format_cxf(session: Session, created: str) -> bytes:
    """Write a session as CxF3: raw readings as fractions, with every digit.

    Its `file`, `sha256`, `format` and `unit` aren't written.

    Parameters
    ----------
    session : Session
    created : str
        UTC, ISO 8601; of samples and file where the session has no date.

    Returns
    -------
    bytes

    Raises
    ------
    InputError
        Where CxF3 can't say it: a missing value, wavelengths that aren't whole equal steps from
        360-400 nm.
    """
    from colour_cxf import cxf3
    from colour_cxf.cxf3.edevice_illumination_type import EdeviceIlluminationType

    spectra = session.spectra
    device = cxf3.Device(model=session.device, serial_number=session.serial)
    if session.condition is not None:
        lit = EdeviceIlluminationType[_LIT[int(session.condition[1])]]
        device.device_illumination = cxf3.DeviceIllumination(lit)
    tags = {key: value for key, value in session.header.items() if value}
    tags["SAMPLE_STATE"] = session.state
    tags["MEASUREMENT_GEOMETRY"] = session.notation
    calibration = {"CALIBRATION_DATE": session.calibrated, "CALIBRATION_TILE": session.tile}
    tags |= {key: value for key, value in calibration.items() if value}
    if session.date:  # the schema wants a time of day, which a session may not have
        tags["CREATED"] = session.date
    return document(
        spectra.labels,
        spectra.values,
        check_writable(spectra.wavelengths, spectra.values, spectra.labels),
        geometry=(session.geometry, session.specular),
        created=created,
        description="readings",
        device=device if session.device or session.condition else None,
        tags=tags,
    )


def check_writable(wavelengths: Array, values: Array, labels: Sequence[str]) -> tuple[int, int]:
    """Return the first wavelength and the step, nm.

    Parameters
    ----------
    wavelengths : (W,) array, nm
    values : (N, W) array
        Reflectance.
    labels : sequence of str
        Of the samples.

    Returns
    -------
    first, step : int
        nm.

    Raises
    ------
    InputError
        Where CxF3 can't say it.
    """
    steps = np.diff(wavelengths)
    start, step = int(wavelengths[0]), int(steps[0])
    if not (np.array_equal(wavelengths, start + step * np.arange(wavelengths.size))
            and _FIRST <= start <= _LAST):  # fmt: skip
        raise InputError(
            None,
            "CxF3",
            "it wants whole, equal steps from a wavelength of 360 to 400 nm; these are not",
            "write CGATS text, CSV or XLSX instead",
        )
    missing = np.isnan(values).any(axis=1)
    if missing.any():
        raise InputError(
            None,
            f"CxF3, sample {labels[int(missing.argmax())]}",
            "it can't say that a value is missing",
            "write CGATS text, CSV or XLSX instead",
        )
    return start, step


def document(
    labels: Sequence[str],
    values: Array,
    span: tuple[int, int],
    *,
    geometry: tuple[str, str],
    created: str,
    description: str,
    comment: str | None = None,
    device: Any = None,
    tags: dict[str, str] | None = None,
    custom: Sequence[Any] = (),
) -> bytes:
    """Make a CxF3 file of named reflectance spectra.

    Parameters
    ----------
    labels : sequence of N str
    values : (N, W) array
        Fractions.
    span : (int, int)
        First wavelength and step, nm.
    geometry : (str, str)
        As `Session` has geometry and specular.
    created, description : str
    comment : str, optional
        On each sample.
    device : colour_cxf.cxf3.Device, optional
    tags : mapping, optional
        Further statements of the file.
    custom : sequence, optional
        Elements of other namespaces, for the end of the file.

    Returns
    -------
    bytes
    """
    from colour_cxf import cxf3, write_cxf
    from colour_cxf.cxf3.espectrum_type import EspectrumType
    from xsdata.models.datatype import XmlDateTime

    start, step = span
    when = XmlDateTime.from_string(created)
    specification = cxf3.ColorSpecification(
        measurement_spec=cxf3.MeasurementSpec(
            measurement_type=cxf3.MeasurementType(EspectrumType.SPECTRUM_REFLECTANCE),
            geometry_choice=cxf3.GeometryChoice(_geometry(*geometry)),
            wavelength_range=cxf3.WavelengthRange(start_wl=start, increment=step),
            device=device,
        ),
        id=SPECIFICATION,
    )
    objects = [
        cxf3.Object(
            creation_date=cxf3.CreationDate(when),
            comment=comment,
            color_values=cxf3.ColorValues(
                [
                    cxf3.ReflectanceSpectrum(
                        value=row, start_wl=start, color_specification=SPECIFICATION
                    )
                ]
            ),
            object_type="Target",
            name=label,
            id=f"sample-{number}",
        )
        for number, (label, row) in enumerate(zip(labels, values.tolist(), strict=True), 1)
    ]
    made = cxf3.CxF(
        file_information=cxf3.FileInformation(
            creator="tintladder",
            creation_date=cxf3.CreationDate(when),
            description=description,
            tag=[cxf3.Tag(name=key, value=value) for key, value in (tags or {}).items()],
        ),
        resources=cxf3.Resources(
            object_collection=cxf3.ObjectCollection(objects),
            color_specification_collection=cxf3.ColorSpecificationCollection([specification]),
        ),
        custom_resources=cxf3.CustomResources(list(custom)) if custom else None,
    )
    written: bytes = write_cxf(made)
    return written


def _geometry(kind: str, specular: str) -> object:
    from colour_cxf import cxf3
    from colour_cxf.cxf3.esingle_angle_configuration_type import EsingleAngleConfigurationType
    from colour_cxf.cxf3.esphere_type import EsphereType
    from colour_cxf.cxf3.single_angle_type import SingleAngleType

    if kind == "45:0":
        ring = cxf3.SingleAngleConfiguration(EsingleAngleConfigurationType.ANNULAR)
        return SingleAngleType(ring, 45.0, 0.0)
    return EsphereType[f"SPECULAR_{specular.upper()}"]
