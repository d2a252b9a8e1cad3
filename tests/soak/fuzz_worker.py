"""One reader under the fuzzer: ``python -m tests.soak.fuzz_worker READER CORPUS [option ...]``."""

from __future__ import annotations

import logging
import sys

import atheris

with atheris.instrument_imports(include=["tintladder", "colour_cxf", "tomllib"]):
    from .. import fuzzed


def main() -> None:
    """Run until the time is up, or the first fault."""
    name = sys.argv.pop(1)
    logging.disable()  # the libraries beneath talk of every oddity
    fuzzed.READERS[name].seeds()  # whatever is made once is made before the clock runs
    atheris.Setup(sys.argv, lambda data: fuzzed.tried(name, data))
    atheris.Fuzz()


if __name__ == "__main__":
    main()
