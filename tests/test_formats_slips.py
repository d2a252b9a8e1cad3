"""One character wrong anywhere in a file: at most one value changes, or the file is refused."""

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.formats.cgats import parse_cgats
from tintladder.calibrate.formats.table import parse_table

from .test_formats_cgats import GOOD as CGATS
from .test_formats_table import COLUMNS, ROWS


@pytest.mark.parametrize("good", [ROWS, COLUMNS, CGATS])
def test_no_single_slip_moves_values_silently(good: str) -> None:
    read = parse_cgats if good == CGATS else parse_table
    spectra = read(good, "file", "").spectra
    for at in range(0, len(good)):
        for new in ("", "\n", ",", '"', "#", "0"):
            for cut in (0, 1):
                try:
                    other = read(good[:at] + new + good[at + cut :], "file", "").spectra
                except InputError:
                    continue
                assert other.values.shape == spectra.values.shape
                assert (other.values != spectra.values).sum() <= 1
                np.testing.assert_array_equal(other.wavelengths, spectra.wavelengths)
