"""Predicted ladders as CxF3 (ISO 17972).

Names of elements and their order are those of the schema as the open library colour-cxf holds it.
The core of CxF3 alone: the part for characterising spot colours has no open schema at hand.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .compare import Numbers
from .exports import ladders

_SPECIFICATION = "tintladder-1"


def as_cxf(numbers: Numbers, created: str, paints: Sequence[str] | None = None) -> bytes:
    """Predicted opaque ladders as CxF3, reflectance as fractions.

    Parameters
    ----------
    numbers : Numbers
    created : str
        UTC, ISO 8601.
    paints : sequence of str, optional

    Raises
    ------
    InputError
        For a paint that isn't among the numbers.
    """
    from colour_cxf import cxf3, write_cxf
    from colour_cxf.cxf3.esingle_angle_configuration_type import EsingleAngleConfigurationType
    from colour_cxf.cxf3.espectrum_type import EspectrumType
    from colour_cxf.cxf3.esphere_type import EsphereType
    from colour_cxf.cxf3.single_angle_type import SingleAngleType
    from xsdata.models.datatype import XmlDateTime

    made, surface = ladders(numbers, paints), numbers.coefficients.surface
    read = ~np.isnan(made.reflectance).any(axis=0)
    start = int(made.wavelengths[read][0])
    when = XmlDateTime.from_string(created)
    geometry: object
    if surface.geometry == "45:0":
        geometry = SingleAngleType(
            cxf3.SingleAngleConfiguration(EsingleAngleConfigurationType.ANNULAR), 45.0, 0.0
        )
    else:
        geometry = {
            "included": EsphereType.SPECULAR_INCLUDED,
            "excluded": EsphereType.SPECULAR_EXCLUDED,
        }[surface.specular]
    specification = cxf3.ColorSpecification(
        measurement_spec=cxf3.MeasurementSpec(
            measurement_type=cxf3.MeasurementType(EspectrumType.SPECTRUM_REFLECTANCE),
            geometry_choice=cxf3.GeometryChoice(geometry),
            wavelength_range=cxf3.WavelengthRange(start_wl=start, increment=10),
        ),
        id=_SPECIFICATION,
    )
    objects = [
        cxf3.Object(
            creation_date=cxf3.CreationDate(when),
            comment="predicted, not read",
            color_values=cxf3.ColorValues(
                [
                    cxf3.ReflectanceSpectrum(
                        value=[round(float(value), 6) for value in values[read]],
                        start_wl=start,
                        color_specification=_SPECIFICATION,
                    )
                ]
            ),
            object_type="Target",
            name=name,
            id=f"step-{number}",
        )
        for number, (name, values) in enumerate(zip(made.names, made.reflectance, strict=True), 1)
    ]
    document = cxf3.CxF(
        file_information=cxf3.FileInformation(
            creator="tintladder",
            creation_date=cxf3.CreationDate(when),
            description=f"predicted opaque tint ladders, not readings ({numbers.name})",
        ),
        resources=cxf3.Resources(
            object_collection=cxf3.ObjectCollection(objects),
            color_specification_collection=cxf3.ColorSpecificationCollection([specification]),
        ),
    )
    written: bytes = write_cxf(document)
    return written
