"""Readers fuzzed for long: each in a process of its own, so that a hang or a crash is seen too.

With atheris (``pip install .[fuzz]``) the fuzzer follows which code each input reaches; without it
good files are spoilt at random, and the result says so.
"""

from __future__ import annotations

import importlib.util
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from ..fuzzed import READERS, SMALL, WORDS, spoilt, tried
from .harness import Soaked, soak

HOUSE = Path(__file__).parent.parent.parent
GUIDED = importlib.util.find_spec("atheris") is not None
LONGEST_S = 60
"""An input that takes longer than this hangs."""


@soak("fuzz.seconds_over_all_readers", 300)
def readers(trials: int | None, progress: Callable[[str], None]) -> Soaked:
    """Five minutes over all readers: no error but the reader's own, no hang, no crash."""
    faults, each = list[str](), max(1, round((trials or 300) / len(READERS) + 0.5))
    spent = 0
    for name in READERS:
        begun = time.monotonic()
        with tempfile.TemporaryDirectory() as folder:
            faults += _guided(name, each, Path(folder)) if GUIDED else _random(name, each)
        spent += min(each, round(time.monotonic() - begun))
        how = "guided by coverage" if GUIDED else "at random: atheris isn't installed"
        progress(f"{name}, {each} s, {how}; {len(faults)} faults so far")
    return Soaked(spent, faults)


def _guided(name: str, seconds: int, folder: Path) -> list[str]:
    corpus = folder / "corpus"
    corpus.mkdir()
    for i, seed in enumerate(READERS[name].seeds()):
        (corpus / str(i)).write_bytes(seed)
    words = folder / "words"
    words.write_text("".join(f'"{_escaped(word)}"\n' for word in WORDS if 0 < len(word) < 60))
    command = [sys.executable, "-m", "tests.soak.fuzz_worker", name, str(corpus)]
    command += [f"-max_total_time={seconds}", f"-dict={words}", f"-timeout={LONGEST_S}"]
    command += ["-rss_limit_mb=3000", f"-artifact_prefix={folder}/", "-verbosity=0", "-seed=1"]
    try:
        done = subprocess.run(
            command, cwd=HOUSE, capture_output=True, text=True, errors="replace",
            timeout=seconds + 3 * LONGEST_S,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return [f"{name}: hangs"]
    if done.returncode == 0:
        return []
    every = (done.stdout + done.stderr).splitlines()
    said = [line for line in every if re.match(r"\w+(Error|Exception)\b", line)]
    found = [path for path in folder.glob("*-*") if path.is_file()]
    data = f", on {found[0].read_bytes()[:200]!r}" if found else ""
    return [f"{name}: {(said or ['ended with ' + str(done.returncode)])[0][:300]}{data}"]


def _escaped(word: bytes) -> str:
    return "".join(f"\\x{byte:02x}" for byte in word)


def _random(name: str, seconds: int) -> list[str]:
    rng, seeds, faults = np.random.default_rng(1), READERS[name].seeds(), dict[str, str]()
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        edits = [
            (float(rng.random()), int(rng.integers(4)), int(rng.integers(1, SMALL)),
             WORDS[rng.integers(len(WORDS))])
            for _ in range(rng.integers(1, 6))
        ]  # fmt: skip
        data = spoilt(seeds[rng.integers(len(seeds))], edits)
        try:
            tried(name, data)
        except Exception as error:
            kind = f"{type(error).__name__}: {error}"[:200]
            faults.setdefault(kind, f"{name}: {kind}, on {data[:200]!r}")
    return list(faults.values())
