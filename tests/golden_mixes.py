"""As `golden`, for mixes that are predicted, for the tubes' reach, and for what is set out."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pymupdf

from .golden import NUMBER, Figures, condition, digits, first, named, text_of

INSTEAD = (
    r"([A-Z][\w ]*) in place of ([A-Z][\w ]*?)(?: \(it absorbs ([\d-]+) nm\))?: chroma "
    rf"{NUMBER} higher"
)
"""What would make a mix cleaner in place of one of its paints."""
OF = r"([A-Z]\w* \w+(?: second)?(?: tint)?)"
"""What an amount is of: a tube's name of two words, or its tint."""

# --- what a mix looks like, and why it greys ---


def prediction_on_page(visit: Any, asked: Mapping[str, str]) -> Figures:
    """What the page shows of a mix."""
    shown = visit.get(f"/predict?{urlencode(asked)}").text
    assert 'class="fault"' not in shown, text_of(shown)
    text = text_of(shown)
    text = text[text.index("\nPredict it\n") + 12 :]
    lead = re.search(rf"\n([^\n]*), (as [^\n;]*); sure to within {NUMBER} \([\w ]+\) 95 of", text)
    assert lead, text
    return {
        "mix": text.strip().split("\n")[0],
        "matched": lead[2],
        "opaque": (lead[1].lower(), lead[3]),
        "films": {over: (words, band) for over, words, band in _films(text)},
        "lab": first(r"L\*a\*b\* ([-\d., ]*) \(D50", text, "colour").split(", "),
        "model": first(r"(Calculated by [^\n]*?\.)", text, "model"),
        "typical": "is only typical" in text,
        "solids": re.findall(r"Dry volume per gram is assumed for ([^;\n]*);", text),
    }


def _films(text: str) -> list[tuple[str, ...]]:
    return re.findall(rf"\nover ([^:\n]*): ([^\n]*), within {NUMBER}", text)


def prediction_in_json(said: Mapping[str, Any], names: Mapping[str, str]) -> Figures:
    """The same figures of the command's JSON, written as the page writes them."""
    whole, *films = said["looks"]
    solids = said["dry_volume_assumed"]
    return {
        "matched": condition(said["viewing"]),
        "opaque": (whole["words"], f"{whole['band_de00']:.1f}"),
        "films": {film["over"]: (film["words"], f"{film['band_de00']:.1f}") for film in films},
        "lab": [f"{value:.1f}" for value in whole["lab"]["D50/2°"]],
        "model": said["calculated"],
        "typical": bool(said["density_assumed"]),
        "solids": [", ".join(names[each] for each in solids)] if solids and films else [],
    }


def prediction_in_text(text: str) -> Figures:
    """The same figures of the command's words."""
    opening = re.search(r"^(.*), by (?:weight|volume), (as .*?): (.*)\.\n", text)
    assert opening, text
    lines = text.splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("film "))
    rows = []
    for line in lines[start + 1 :]:
        if " ±" not in line:
            break
        rows.append([cell.strip() for cell in re.split(r"  +", line.strip())])
    return {
        "mix": opening[1],
        "matched": opening[2],
        "opaque": (opening[3], first(rf"Sure to within CIEDE2000 {NUMBER}", text, "band")),
        "films": {
            row[0].partition(" over ")[2]: (row[1], row[-2].removeprefix("±")) for row in rows[1:]
        },
        "lab": [value.removeprefix("+") for value in rows[0][2:5]],
        "model": first(r"(Calculated by [^\n]*)", text, "model"),
        "typical": "is only typical" in text,
        "solids": re.findall(r"Dry volume per gram is assumed for ([^;\n]*);", text),
    }


def greying_on_page(visit: Any, asked: Mapping[str, str]) -> Figures:
    """What the page says of why a mix greys."""
    text = text_of(visit.get(f"/predict?{urlencode(asked)}").text)
    text = text[text.index("Why it is as grey as it is") :]
    best = re.search(r"Cleanest on hand there, by weight: ([^\n]*) in 100\.", text)
    return {
        "chroma": re.findall(rf"Its chroma is {NUMBER}; .*? these tubes come to {NUMBER}\.", text),
        "dulls": re.findall(
            rf"([A-Z][\w ]*) greys it(?: \(it absorbs ([\d-]+) nm\))?: without it, chroma {NUMBER}",
            text,
        ),
        "instead": re.findall(INSTEAD, text),
        "cleaner": sorted(re.findall(rf"{NUMBER} ([A-Z][\w ]*)", best[1])) if best else [],
        "leans": dict(re.findall(r"In a tint ([\w ]*) is ([^.\n]*)\.", text)),
        "several": re.findall(r"([A-Z][\w ]*) is itself a mix \(([^)]*)\)", text),
    }


def greying_in_json(said: Mapping[str, Any], names: Mapping[str, str]) -> Figures:
    """The same figures of the command's JSON, written as the page writes them."""
    shares = [(share, names[paint]) for paint, share in said["cleaner"].items() if share > 0.005]
    better = said["could"] > said["chroma"] + 3
    return {
        "chroma": [(f"{said['chroma']:.0f}", f"{said['could']:.0f}")],
        "dulls": [
            (
                names[each["paint"]],
                "{:.0f}-{:.0f}".format(*each["band_nm"]) if each["band_nm"] else "",
                f"{each['gain']:.0f}",
            )
            for each in said["dulls"]
            if each["instead"] is None
        ],
        "instead": [
            (
                names[each["instead"]],
                names[each["paint"]],
                "{:.0f}-{:.0f}".format(*each["band_nm"]) if each["band_nm"] else "",
                f"{each['gain']:.0f}",
            )
            for each in said["dulls"]
            if each["instead"] is not None
        ],
        "cleaner": sorted((f"{100 * s:.3g}", name) for s, name in shares) if better else [],
        "leans": {names[paint]: words for paint, words in said["leans"].items()},
        "several": [
            (names[paint], ", ".join(each)) for paint, each in said["several_pigments"].items()
        ],
    }


def greying_in_text(text: str) -> Figures:
    """The figures of the command's words, but for the cleanest mix, which it says in parts."""
    leans = text.partition("in a tint it is")[2]
    return {
        "chroma": re.findall(rf"of chroma {NUMBER}; at its .*?come to {NUMBER}\.", text, re.S),
        "dulls": re.findall(
            rf"([A-Z][\w ]*) greys it(?: \(it absorbs ([\d-]+) nm\))?: without it, chroma {NUMBER}",
            text,
        ),
        "instead": re.findall(INSTEAD, text),
        "leans": dict(re.findall(r"\n([A-Z][\w ]*?)  +(\S[^\n]*?) *(?=\n|$)", leans)),
        "several": re.findall(r"([A-Z][\w ]*) is itself a mix \(([^)]*)\)", text),
    }


# --- how near the tubes come, and which one more would help ---


def reach_on_page(visit: Any, asked: Mapping[str, str], lay: Sequence[str]) -> Figures:
    """What the worksheet says of a colour out of reach, once further tubes were tried."""
    fields = {"lay": list(lay), **asked}
    done = visit.wait(visit.send("/mix/further", list(_pairs(fields))))
    text = text_of(visit.get(done["path"].partition("#")[0]).text)
    further = re.search(rf"With ([\w ]+) too it would be [\w ]+ \({NUMBER}\)", text)
    return {
        "matched": first(r"Matched (as [^.]*)\.", text, "condition"),
        "nearest": first(rf"the nearest is [\w ]+ \(CIEDE2000 {NUMBER}\)", text, "nearest"),
        "missing": first(r"\(CIEDE2000 [\d.]+\); ([^\n]*)\.\n", text, "what is missing"),
        "further": further and further.groups(),
        "model": first(r"(Calculated by .*?)\n", text, "model"),
    }


def _pairs(fields: Mapping[str, Any]) -> list[tuple[str, str]]:
    return [
        (key, each)
        for key, value in fields.items()
        for each in (value if isinstance(value, list) else [value])
    ]


def reach_in_json(said: Mapping[str, Any], names: Mapping[str, str]) -> Figures:
    """The same figures of the command's JSON, written as the faces write them."""
    nearest, best = said["nearest"], said["one_more"][0]
    helps = best["difference_de00"] < nearest["least_de00"] - 0.5
    return {
        "matched": condition(said["viewing"]),
        "nearest": f"{nearest['least_de00']:.1f}",
        "missing": nearest["missing"],
        "further": (names[best["paint"]], f"{best['difference_de00']:.1f}") if helps else None,
        "model": said["calculated"],
    }


def reach_in_text(text: str) -> Figures:
    """The same figures of the command's words."""
    further = re.search(rf"With ([\w ]+) too it would be {NUMBER} away", text)
    least = re.search(rf"comes nearer than {NUMBER}: ([^\n]*)\.\n", text)
    assert least, text
    return {
        "matched": first(r"matched (as [^\n]*)\.\n", text, "condition"),
        "nearest": least[1],
        "missing": least[2],
        "further": further and further.groups(),
        "model": first(r"(Calculated by [^\n]*)", text, "model"),
    }


# --- what to set out ---


def setting_out_on_page(visit: Any, asked: Mapping[str, str], photo: Path | None) -> Figures:
    """What the paper says that the page prints."""
    files = [("files", photo.name, photo)] if photo else []
    done = visit.wait(visit.bring("/paper/picture", {**asked, "do": "setout"}, files))
    assert done.get("path"), done
    name = first(r"fresh=([^&]*)", done["path"], "file")
    with pymupdf.open(stream=visit.get(f"/paper/{name}").body, filetype="pdf") as paper:
        text = "\n".join(page.get_text() for page in paper)
    text = re.sub(r"\s+", " ", text)
    tubes = first(r"tubes?: (.*? ml)\. ", text, "tubes")
    heaps = re.findall(
        rf" \d+\. ([\w, -]*?), {NUMBER} ml (First .*?)(?:[Tt]hese tubes come no nearer: )?[\w ]+ "
        rf"\(CIEDE2000 {NUMBER}\), sure to within {NUMBER}",
        text,
    )
    return {
        "matched": first(
            r"films that hide; (as .*?)(?:, on films that dried \w+)?; beside each",
            text,
            "condition",
        ),
        "tubes": dict(re.findall(rf"([A-Z][\w ]*?) {NUMBER} ml", tubes)),
        "heaps": [
            (words, ml, sorted(re.findall(rf"(?:First|then) {NUMBER} g {OF}", steps)), off, band)
            for words, ml, steps, off, band in heaps
        ],
    }


def setting_out_in_json(said: Mapping[str, Any], names: Mapping[str, str]) -> Figures:
    """The same figures of the command's JSON, written as the paper writes them."""

    return {
        "matched": condition(said["viewing"]),
        "tubes": {names[paint]: f"{ml:.1f}" for paint, ml in said["ml"].items()},
        "heaps": [
            (
                heap["words"],
                f"{heap['ml']:.1f}",
                sorted(
                    (f"{amount:.{digits(heap['made_of']['step'])}f}", named(label, names))
                    for label, amount in heap["made_of"]["amounts"].items()
                ),
                f"{heap['difference_de00']:.1f}",
                f"{heap['band_de00']:.1f}",
            )
            for heap in said["colours"]
        ],
    }


def setting_out_in_text(text: str) -> Figures:
    """The same figures of the command's words, but for the millilitres of each tube."""
    heaps = [
        (words, ml, sorted(re.findall(rf"{NUMBER} g {OF}", steps)), off, band)
        for words, ml, steps, off, band in re.findall(
            rf"\n\d+\. ([\w, -]*), #.*?\n   {NUMBER} ml: (.*?)CIEDE2000 {NUMBER} .*?"
            rf"within {NUMBER}",
            text, re.S,
        )
    ]  # fmt: skip
    tubes = first(r"Set out: ([^\n]*)", text, "tubes")
    return {
        "matched": first(r"Matched (as [^\n]*?)\. ", text, "condition"),
        "tubes": [name for _, name in re.findall(rf"{NUMBER} ml ([A-Z][\w ]*)", tubes)],
        "heaps": heaps,
    }
