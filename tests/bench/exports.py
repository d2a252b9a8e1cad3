"""How many shapes of export files are read right, asked about or refused, and none misread.

`export_shapes` has the files and what each is owed. A user is played who answers what is asked: the
unit that the file is in, the geometry, and each choice between readings in turn.
"""

from __future__ import annotations

import tempfile
from contextlib import suppress
from functools import cache
from pathlib import Path

import numpy as np
from tintladder.calibrate.errors import CalibrateDo, InputError, Remedy
from tintladder.calibrate.formats.read import read_session
from tintladder.calibrate.formats.session import Session
from tintladder.calibrate.optics.spectra import Flag

from .export_files import Shape
from .export_shapes import extra_shapes, shapes
from .harness import benchmark

_NEAR = 1e-6


class Asked(Exception):
    """The reader asks which readings are meant."""


def read(shape: Shape, path: Path, only: str | None = None, unit: str | None = None) -> Session:
    """Read a file as a user who answers unit and geometry does."""
    said: dict[str, str] = {}
    for _ in range(4):
        try:
            return read_session(path, only=only, **said)
        except InputError as error:
            code = error.do.code if isinstance(error.do, Remedy) else None
            if code is CalibrateDo.SAY_UNIT and "unit" not in said and (unit or shape.unit):
                said["unit"] = unit or str(shape.unit)
            elif code is CalibrateDo.SAY_GEOMETRY and "geometry" not in said:
                sphere = "specular" in shape.kinds
                said |= {"geometry": "d/8" if sphere else "45:0"}
            elif code is CalibrateDo.SAY_SPECULAR and "specular" not in said:
                said["specular"] = "included"
            elif code is CalibrateDo.SAY_ONLY:
                raise Asked(str(error)) from error
            else:
                raise
    raise AssertionError("it asks the same again and again")


def is_true(session: Session, shape: Shape, **choice: str) -> bool:
    """Whether the numbers read are those that the file holds."""
    truth, spectra = shape.truth(**choice), session.spectra
    labels = np.array(spectra.labels)
    if set(labels.tolist()) != set(truth):
        return False
    for patch, (wavelengths, rows) in truth.items():
        order = np.argsort(wavelengths)
        got = spectra.values[labels == patch]
        if got.shape != rows.shape or not np.allclose(spectra.wavelengths, wavelengths[order]):
            return False
        if not np.allclose(got, rows[:, order], rtol=0, atol=_NEAR, equal_nan=True):
            return False
        missing = (spectra.flags[labels == patch] & np.uint16(Flag.MISSING)) != 0
        if not np.array_equal(missing, np.isnan(rows[:, order])):
            return False
        full = (spectra.flags[labels == patch] & np.uint16(Flag.CLIPPED)) != 0
        at = {nm for one in shape.readings if one.patch == patch for nm in one.saturated}
        if {float(nm) for nm in spectra.wavelengths[full.any(axis=0)]} != {float(nm) for nm in at}:
            return False
    return True


def outcome(shape: Shape, folder: Path) -> tuple[str, str]:
    """What becomes of one file, and in which words.

    Returns
    -------
    str
        ``read``, ``ask`` or ``refuse`` where that was right; ``misread``; or ``wrong`` for a file
        that should be read and is refused.
    str
    """
    path = Path(shape.write(folder))
    fine = {shape.owes, *shape.also_fine}
    try:
        session = read(shape, path)
    except Asked as asked:
        if "ask" not in fine:
            return "wrong", str(asked)
        return _each_choice(shape, path, str(asked))
    except InputError as error:
        if "refuse" not in fine:
            return "wrong", str(error)
        for unit in (
            ("percent", "fraction") if "unit" in str(error) or "percent" in str(error) else ()
        ):
            # Whatever is answered, nothing may come of what holds no readings.
            with suppress(InputError, Asked):
                session = read(shape, path, unit=unit)
                if not shape.readings or not is_true(session, shape):
                    return "misread", f"as {unit}: {error}"
        return "refuse", str(error)
    if not shape.readings:
        return "misread", "it holds no readings, and was read"
    if is_true(session, shape):
        return "read" if shape.owes == "read" or "unit" in shape.kinds else "ask", ""
    if shape.name == "same_name_two_backings" and _apart(session, shape):
        return "read", "both sides, apart"
    return "misread", f"{len(session.spectra)} rows: {session.spectra.labels[:4]}"


def _apart(session: Session, shape: Shape) -> bool:
    """Whether both sides were read, each under a name of its own that tells it."""
    found = {}
    for label, row in zip(session.spectra.labels, session.spectra.values, strict=True):
        name, _, side = label.rpartition("/")
        found[name, side] = row
    return len(found) == len(shape.readings) == len(session.spectra) and all(
        np.allclose(found[one.patch, one.attrs["side"]], one.reflectance, rtol=0, atol=_NEAR)
        for one in shape.readings
    )


def _each_choice(shape: Shape, path: Path, words: str) -> tuple[str, str]:
    """Whether each answer brings its own readings."""
    if not shape.kinds:
        # Which of several tables: whatever it gives must be readings of the file, never mixed.
        for number in ("1", "2"):
            session = read(shape, path, only=f"table={number}")
            tables = [r for r in shape.readings if r.patch in session.spectra.labels]
            alone = Shape(shape.name, shape.suffix, shape.data, "read", tables)
            if tables and not is_true(session, alone):
                return "misread", words
        return "ask", words
    for kind, answers in shape.kinds.items():
        if kind not in words:
            return "wrong", f"it doesn't name {kind}: {words}"
        for answer in answers:
            try:
                session = read(shape, path, only=f"{kind}={answer}")
            except (Asked, InputError) as error:
                return "wrong", f"{answer}: {error}"
            if not is_true(session, shape, **{kind: answer}):
                return "misread", answer
    return "ask", words


@cache
def outcomes(extra: bool = False) -> dict[str, tuple[str, str]]:
    """What becomes of every file."""
    with tempfile.TemporaryDirectory() as folder:
        chosen = extra_shapes() if extra else shapes()
        return {shape.name: outcome(shape, Path(folder)) for shape in chosen}


@benchmark("exports.misread", "of 40 shapes", target=0)
def misread() -> float:
    """Shapes that gave numbers which aren't those of the file, without a word."""
    return sum(what == "misread" for what, _ in outcomes().values())


@benchmark("exports.right", "of 40 shapes", target=34, sense="at least")
def right() -> float:
    """Shapes read right, asked about rightly, or refused where nothing in them can be read."""
    return sum(what in ("read", "ask", "refuse") for what, _ in outcomes().values())


@benchmark("exports.right_doubles", "of 6 near doubles")
def right_doubles() -> float:
    """The same of six more that are much like one of the forty."""
    return sum(what in ("read", "ask", "refuse") for what, _ in outcomes(extra=True).values())


if __name__ == "__main__":
    for name, (what, words) in (outcomes() | outcomes(extra=True)).items():
        print(f"{what:8}{name:45}{words[:230]}")
