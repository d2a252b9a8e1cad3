"""Words that tell readings of one sample apart: specular component, condition, statistic and such.

An exporter writes them into a column, above a group of columns, above a table, or behind a name.
What such a word means is decided here; which of the readings is meant, in `choosing`.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from typing import Literal, NamedTuple

from .cells import normal, number
from .statements import condition_in, parse_geometry

Kind = Literal["statistic", "specular", "condition", "light", "side", "repeat", "free", "other"]


class Mark(NamedTuple):
    """What a word says of a reading.

    Attributes
    ----------
    kind : str
        What it is about; a column that nobody has words for is ``other``.
    heading : str
        What it stands under, as written.
    word : str
        As written.
    value : str
        What it means: ``included``, ``M1``, ``average``; the word itself where that isn't known.
    """

    kind: str
    heading: str
    word: str
    value: str


_INCLUDED = ("SCI", "RSIN", "SPIN", "INCLUDED", "INCLUDE", "INCL", "SPECULARIN", "WITHSPECULAR")
_EXCLUDED = ("SCE", "RSEX", "SPEX", "EXCLUDED", "EXCLUDE", "EXCL", "SPECULAREX", "WITHOUTSPECULAR")
_AVERAGE = (
    "AVERAGE", "AVERAGES", "AVG", "AVE", "AV", "MEAN", "MEANS", "MEANVALUE", "MW", "MITTEL",
    "MITTELWERT", "MOYENNE", "PROMEDIO", "GEMIDDELDE", "MEDIAN",
)  # fmt: skip
_SPREAD = (
    "STD", "STDEV", "STDDEV", "STDABW", "SD", "SIGMA", "STANDARDDEVIATION", "DEVIATION", "VARIANCE",
    "VAR", "CV", "RSD", "RANGE", "MIN", "MAX", "MINIMUM", "MAXIMUM", "SE", "SEM", "SPREAD",
)  # fmt: skip
_DIFFERENCE = ("DELTA", "DIFF", "DIFFERENCE", "DIFFERENCES", "DELTAR", "DR")
_SINGLE = ("SINGLE", "INDIVIDUAL", "RAW", "READING", "MEASUREMENT", "SAMPLE", "SHOT", "VALUE")
_WORDS: dict[str, tuple[Kind, str]] = {
    **dict.fromkeys(_INCLUDED, ("specular", "included")),
    **dict.fromkeys(_EXCLUDED, ("specular", "excluded")),
    **dict.fromkeys(_AVERAGE, ("statistic", "average")),
    **dict.fromkeys(_SPREAD, ("statistic", "spread")),
    **dict.fromkeys(_DIFFERENCE, ("statistic", "difference")),
}
"""Words whose meaning is plain wherever they stand."""
_UNDER: dict[Kind, dict[str, str]] = {
    "specular": {
        **dict.fromkeys((*_INCLUDED, "IN", "YES", "I", "ON", "TRUE"), "included"),
        **dict.fromkeys((*_EXCLUDED, "EX", "NO", "E", "OFF", "FALSE"), "excluded"),
    },
    "statistic": {
        **dict.fromkeys(_AVERAGE, "average"),
        **dict.fromkeys(_SPREAD, "spread"),
        **dict.fromkeys(_DIFFERENCE, "difference"),
        **dict.fromkeys(("", *_SINGLE), "single"),
    },
    "side": {
        **dict.fromkeys(("BLACK", "OVERBLACK", "ONBLACK", "BK", "B", "K"), "black"),
        **dict.fromkeys(("WHITE", "OVERWHITE", "ONWHITE", "WH", "WT", "W"), "white"),
    },
}
"""Words that mean something only under a heading that says what they are about."""
_HEADINGS: dict[str, Kind] = {
    **dict.fromkeys(
        ("SPECULAR", "SPECULARCOMPONENT", "SPECULARMODE", "SPECULARREFLECTION", "SPEC", "SCISCE",
         "COMPONENT", "SPECCOMP", "GLOSSTRAP"), "specular"),
    **dict.fromkeys(
        ("CONDITION", "MEASUREMENTCONDITION", "MCONDITION", "MMODE", "MEASUREMENTMODE"),
        "condition"),
    **dict.fromkeys(
        ("UV", "UVMODE", "UVFILTER", "FILTER", "ILLUMINATION", "ILLUMINANT", "LIGHT", "SOURCE",
         "LAMP", "LIGHTSOURCE", "ANGLE", "ASPECULAR", "APERTURE", "AREA", "MASK", "POLARISATION",
         "POLARIZATION", "POLARIZER", "OBSERVER", "GEOMETRY"), "light"),
    **dict.fromkeys(
        ("STATISTIC", "STATISTICS", "STAT", "AGGREGATE", "AGGREGATION"), "statistic"),
    **dict.fromkeys(
        ("SIDE", "BACKING", "OVER", "ON", "SUBSTRATE", "BACKGROUND", "BASE", "GROUND"), "side"),
    **dict.fromkeys(
        ("REPEAT", "REPLICATE", "REP", "REPETITION", "READING", "READINGNO", "READINGNUMBER",
         "MEASUREMENTNO", "MEASUREMENTNUMBER", "MEASUREMENT", "SHOT", "N", "POSITION", "SPOT",
         "RUN", "REPEATNO"), "repeat"),
    **dict.fromkeys(
        ("DATE", "TIME", "TIMESTAMP", "DATETIME", "MEASURED", "READAT", "TAKEN", "CREATED",
         "COMMENT", "COMMENTS", "REMARK", "REMARKS", "NOTE", "NOTES", "OPERATOR", "USER", "FILE",
         "FILENAME", "INDEX", "NO", "NUMBER", "ID", "ROW", "SEQ", "SEQUENCE", "SAMPLEID",
         "SAMPLENO", "SAMPLELOC", "SAMPLELOCATION", "SAMPLENAME", "STRING", "HEX",
         "COLOUR", "COLOR", "SWATCH", "TEMPERATURE", "TEMP", "DURATION"),
        "free"),
}  # fmt: skip
_FREE = re.compile(r"(?:LAB|CIE|XYZ|RGB|LCH|HUNTER|D[0-9]{2})?_?[LABXYZRGBCH]\*?", re.IGNORECASE)
_COUNT = re.compile(r"\s*(?:\(?\s*(?:of|n\s*=|x|/)?\s*[0-9]{1,3}\s*\)?)?\s*$", re.IGNORECASE)
_REPEAT = re.compile(
    r"(?:reading|repeat|rep|replicate|measurement|meas|shot|run|no|nr|r|n)?[\s._#-]*[0-9]{1,2}",
    re.IGNORECASE,
)
_WITHOUT_UV = re.compile(r"\b(?:uv|ultraviolet)\b|\bpol(?:ari[sz]ed)?\b", re.IGNORECASE)


def kind_of_heading(heading: str) -> str | None:
    """Return what a column is about by its heading; None where that says nothing.

    Examples
    --------
    >>> kind_of_heading("Specular Component"), kind_of_heading("Gear")
    ('specular', None)
    """
    kind = _HEADINGS.get(normal(heading))
    return "free" if kind is None and _FREE.fullmatch(heading.strip()) else kind


def meaning(word: str) -> tuple[str, str] | None:
    """Return kind and value of a word that means something wherever it stands.

    Examples
    --------
    >>> meaning("Spec. Incl."), meaning("M1 (D50)"), meaning("Mean of 3"), meaning("keel")
    (('specular', 'included'), ('condition', 'M1'), ('statistic', 'average'), None)
    """
    text = word.strip()
    if text == "Ø":
        return "statistic", "average"
    plain = normal(_COUNT.sub("", text) or text)
    short = re.sub(r"^(SPECULAR|SPEC)(?=.)|(?<=.)(SPECULAR|REFLECTION|COMPONENT)$", "", plain)
    for each in (plain, short):
        if each in _WORDS:
            return _WORDS[each]
    condition = condition_in(text)
    if condition and len(plain) <= 12:
        return "condition", condition
    geometry = parse_geometry(text)
    if geometry is not None and len(plain) <= 8 and geometry[1] and geometry[0] != "45:0":
        return "specular", geometry[1]
    if _WITHOUT_UV.search(text) and len(plain) <= 20:
        return "light", plain.lower()
    return None


def marks_of(heading: str, column: Sequence[str]) -> list[Mark] | None:
    """Return what the cells of a column say; None where it tells no readings apart.

    Parameters
    ----------
    heading : str
    column : sequence of N str

    Returns
    -------
    list of N Mark, or None
    """
    said = kind_of_heading(heading)
    filled = [cell for cell in column if cell]
    if not filled:
        return None
    if said == "free" and not any((meaning(cell) or "")[:1] == ("statistic",) for cell in filled):
        return None
    for kind, words in _UNDER.items():
        if said == kind and all(normal(cell) in words or not cell for cell in column):
            return [Mark(kind, heading, c, words.get(normal(c), "")) for c in column]
    meant = {cell: meaning(cell) for cell in filled}
    kinds = {found[0] for found in meant.values() if found}
    if len(kinds) == 1:
        kind_ = kinds.pop()
        # Words beside a known one belong to it: "Trial 1" beside "Average" is a single reading.
        other = "single" if kind_ == "statistic" else None
        if other or all(meant.values()):
            return [
                Mark(kind_, heading, c, found[1] if (found := meant.get(c)) else (other or ""))
                for c in column
            ]
    if said == "repeat":
        return None
    return [Mark(said or "other", heading, c, c) for c in column]


def is_count(column: Collection[str]) -> bool:
    """Whether the cells of a column count from 1, as repeats do."""
    values = {number(cell) for cell in column}
    return values == {float(i) for i in range(1, len(values) + 1)}


_BEHIND = re.compile(
    r"^(?P<name>.*?\S)\s*(?:[\s_\-,;:]\s*|(?=[(\[]))[(\[]?(?P<word>[^()\[\]]+?)[)\]]?$"
)
_BEFORE = re.compile(r"^[(\[]?(?P<word>[^()\[\]\s_:]+?)[)\]]?[\s_:]+(?P<name>\S.*)$")


def of_name(name: str) -> tuple[str, Mark] | None:
    """Return a sample's name freed of a word that tells readings apart, and that word.

    Examples
    --------
    >>> of_name("masstone/black (SCE)")
    ('masstone/black', Mark(kind='specular', heading='name', word='SCE', value='excluded'))
    >>> of_name("masstone/black")
    """
    whole = meaning(name)
    if whole and whole[0] == "statistic":
        return name, Mark("statistic", "name", name, whole[1])
    for pattern in (_BEHIND, _BEFORE):
        found = pattern.match(name.strip())
        meant = meaning(found["word"]) if found else None
        if found and meant and meant[0] in ("specular", "condition", "statistic", "light"):
            return found["name"], Mark(meant[0], "name", found["word"], meant[1])
    return None


def marks_in(text: str) -> list[Mark]:
    """Return what a title says of the readings below it, or a word above a group of columns.

    Examples
    --------
    >>> [mark.value for mark in marks_in("Standard deviations of 3 readings, SCE")]
    ['spread', 'excluded']
    """
    if meant := meaning(text):
        return [Mark(meant[0], "title", text, meant[1])]
    if _REPEAT.fullmatch(text.strip()):
        return [Mark("repeat", "title", text, text)]
    words = re.split(r"[\s,;:()\[\]]+", text.strip())
    found: dict[str, Mark] = {}
    for size in (3, 2, 1):
        for at in range(len(words) - size + 1):
            phrase = " ".join(words[at : at + size])
            meant = meaning(phrase) or meaning(phrase.rstrip("s"))
            if meant and meant[0] not in found:
                found[meant[0]] = Mark(meant[0], "title", phrase, meant[1])
    return list(found.values())
