"""The same requests on both faces of a studio: what the page shows, and what the command says.

Each reader takes an answer apart into the figures that it shows, as they are written there, so
that the faces can be compared to the last digit. Nothing here calls what lies behind the faces.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from html import unescape
from typing import Any
from urllib.parse import urlencode

Figures = dict[str, Any]
_N = r"(\d+(?:\.\d+)?)"


def text_of(page: str) -> str:
    """The words of a page, a line for each element."""
    body = re.sub(r"<(script|style|head)\b.*?</\1>", "", page, flags=re.S)
    words = re.sub(r"</?(?:b|small|a|span)\b[^>]*>", "", body)
    words = unescape(re.sub(r"<[^>]*>", "\n", words))
    return re.sub(r"\s*\n\s*", "\n", words)


def _first(pattern: str, text: str, what: str) -> Any:
    found = re.search(pattern, text, re.S)
    assert found, f"no {what} in:\n{text[:3000]}"
    return found[1]


def _amounts(text: str) -> frozenset[str]:
    """Amounts and what of, as a set: the faces may name them in any order."""
    # Commas stand in a tint's words too: "2 parts Dusk Violet tint, 1 Dusk Violet to 9 Hull White".
    text = re.sub(r" tint, 1 [\w ]+? to 9 [\w ]+?(?=,|$)", " tint", text.strip())
    return frozenset(each.strip() for each in text.split(",") if each.strip())


# --- recipes ---


def recipe_on_page(visit: Any, asked: Mapping[str, str], lay: Sequence[str]) -> Figures:
    """What the worksheet shows of the ways, and of the amounts of the first."""
    fields: dict[str, Any] = {"lay": list(lay), **asked}
    make = {key: fields.pop(key) for key in ("make", "scale", "coats") if key in fields}
    ways = visit.get(f"/mix?{urlencode(fields, doseq=True)}").text
    assert 'class="fault"' not in ways, text_of(ways)
    taken = re.findall(r"[?&]way=([^&#\"]+)", unescape(ways))
    if taken:
        fields["way"] = taken[0].replace("%2C", ",")
    shown = visit.get(f"/mix?{urlencode(fields | make, doseq=True)}").text
    assert 'class="fault"' not in shown, text_of(shown)
    text = text_of(shown)
    found = re.findall(
        rf"Against the target: [\w ]+ \(CIEDE2000 {_N}\), sure to within {_N}.*?"
        rf"in each part lands {_N} off",
        text, re.S,
    )  # fmt: skip
    amounts = _first(r"In this order\n(.*?)\nonce the", text, "order")
    rest = _first(r"Costs in colour\n(.*?)\n(?:The density|Keep it)", text, "other measures")
    lines = rest.split("\n")
    others = {
        lines[i]: (_amounts(lines[i + 1]), _first(rf"\({_N}\)", lines[i + 2], "cost"))
        for i in range(0, len(lines), 3)
    }
    nearest = re.search(rf"reaches it: the nearest is [\w ]+ \(CIEDE2000 {_N}\)", text)
    return {
        "matched": _first(r"Matched (as .*? reads? it|as .*? finish)\.", text, "condition"),
        "nearest": nearest and nearest[1],
        "ways": found,
        "weighed": frozenset(
            re.sub(r" tint, .*|, at first.*", lambda m: " tint" if "tint" in m[0] else "", line)
            for line in amounts.split("\n")
        ),
        "others": others,
        "step": _first(rf"scale may move it by {_N}", text, "error of the scale"),
        "model": _first(r"(Reckoned by .*?)\n", text, "model"),
    }


def recipe_in_json(said: Mapping[str, Any], names: Mapping[str, str]) -> Figures:
    """The same figures of the command's JSON, written as the faces write them."""
    first = said["recipes"][0]

    def amounts(measured: Mapping[str, Any]) -> frozenset[str]:
        tinted = measured["tint"] and measured["tint"]["paint"]
        return frozenset(
            f"{_amount(value, measured['unit'], measured['step'])} {names[paint]}"
            + (" tint" if paint == tinted else "")
            for paint, value in measured["amounts"].items()
        )

    by_scale, *others = first["amounts"]
    return {
        "matched": _condition(said["viewing"]),
        "nearest": f"{said['nearest_de00']:.1f}" if said["missing"] else None,
        "ways": [
            tuple(f"{way[key]:.1f}" for key in ("difference_de00", "band_de00", "clumsy_de00"))
            for way in said["recipes"]
        ],
        "weighed": amounts(by_scale),
        "others": {m["measure"]: (amounts(m), f"{m['moved_de00']:.1f}") for m in others},
        "step": f"{first['weighing_de00']:.2f}",
        "model": said["reckoned"],
    }


def recipe_in_text(text: str) -> Figures:
    """The same figures of the command's words."""
    lines = text.splitlines()
    first = next(line for line in lines if line.startswith("1. "))
    start = next(i for i, line in enumerate(lines) if line.startswith("measured "))
    columns = [match.start() for match in re.finditer(r"\S+(?: \S+)*", lines[start])]
    others = {}
    for line in lines[start + 1 :]:
        if not line.strip():
            break
        cells = [line[a:b].strip() for a, b in zip(columns, [*columns[1:], None], strict=True)]
        others[cells[0]] = (_amounts(cells[1]), _first(rf"\({_N}\)", cells[2], "cost"))
    nearest = re.search(rf"the nearest stays CIEDE2000 {_N} away", text)
    found = re.findall(
        rf"[Oo]ff by CIEDE2000 {_N} .*?sure to within {_N}.*?each part lands {_N} off",
        text, re.S,
    )  # fmt: skip
    return {
        "matched": _first(r"matched (as [^\n]*)\.\n", text, "condition"),
        "nearest": nearest and nearest[1],
        "ways": found,
        "weighed": _amounts(first.partition(". ")[2].rpartition(":")[0]),
        "others": others,
        "step": _first(rf"g may move it by {_N}", text, "error of the scale"),
        "model": _first(r"(Reckoned by [^\n]*)", text, "model"),
    }


def _amount(value: float, unit: str, step: float) -> str:
    if unit == "spoon":
        whole, quarter = divmod(round(4 * value), 4)
        words = " ".join(filter(None, [str(whole or ""), ["", "¼", "½", "¾"][quarter]]))
    else:
        digits = len(f"{step:g}".partition(".")[2])
        words = f"{value:.{digits}f}"
    return f"{words} {unit}{'s' if unit in ('spoon', 'part') and value > 1 else ''}"


def _condition(said: Mapping[str, str]) -> str:
    if "finish" in said:
        return f"as the eye sees it in a {said['finish']} finish"
    if "geometry" in said:
        return f"as an instrument of geometry {said['geometry']} reads it"
    return "as the instrument that read the paints reads it"


# --- what to add to the plate ---


def additions_on_page(visit: Any, asked: Mapping[str, str], plate: Mapping[str, float]) -> Figures:
    """Put grams on an empty plate, and say what the worksheet says to add."""
    fields: dict[str, Any] = {"lay": ["HULL", "BUOY", "ROPE"], "tubes": "2", "make": "20g"}
    fields |= {"mixing": "yes", **asked}
    start = visit.get(f"/mix?{urlencode(fields, doseq=True)}").text
    if "way" not in fields:
        fields["way"] = _first(r"[?&]way=([^&#\"]+)", unescape(start), "way").replace("%2C", ",")
    where = f"/mix?{urlencode(fields, doseq=True)}"
    before = visit.get(where).text
    if "Clear the plate" in before and plate:
        cleared = _first(r'name="seen" value="(\w+)"', before, "plate")
        done = visit.send("/mix/plate", {"do": "clear", "seen": cleared, "target": "#777"})
        assert done.status == 200, done.text
    if plate:
        grams = {f"g:{nickname}": f"{value:g}" for nickname, value in plate.items()}
        done = visit.send("/mix/plate", {"do": "add", **grams, "target": "#777"})
        assert done.status == 200, done.text
    shown = visit.get(where).text
    assert 'class="fault"' not in shown, text_of(shown)
    text = text_of(shown)
    text = text[text.index("\nOn the plate\n") :]
    adds = re.search(r"Add ([^:\n]*): three quarters", text)
    then = re.search(rf"Then it is [\w ]+ \({_N}\), and the heap grows by {_N} %", text)
    return {
        "plate": _plate(text.split("\n")[2].removesuffix(".")),
        "off": _first(rf"should be [\w ]+ \(CIEDE2000 {_N}\)", text, "difference"),
        "band": _first(rf"sure to within {_N}", text, "band"),
        "add": _plate(adds[1] if adds else ""),
        "then": then and then.groups(),
        "over": "less paint to start over" in text,
        "dab": re.findall(r"By its dab the heap is likely ([^\n]*)", text),
    }


def _plate(text: str) -> dict[str, str]:
    """Grams by name, as written but for the digits, which the faces cut otherwise on a plate."""
    found = re.findall(rf"{_N} g ([A-Za-z][A-Za-z ]*)", text)
    return {name.strip(): f"{float(grams):.2f}" for grams, name in found}


def additions_in_json(said: Mapping[str, Any], names: Mapping[str, str]) -> Figures:
    """The same figures of the command's JSON, written as the faces write them."""
    dab = said["dab"]
    likely = dab and ", ".join(
        f"{100 * dab['likely_parts'][paint]:.0f} % {names[paint]} "
        f"({100 * low:.0f} to {100 * high:.0f})"
        for paint, (low, high) in dab["between"].items()
    )
    more = said["additions"]
    return {
        "plate": {names[paint]: f"{grams:.2f}" for paint, grams in said["plate"].items()},
        "off": f"{said['off_de00']:.1f}",
        "band": f"{said['band_de00']:.1f}",
        "add": {names[paint]: f"{grams:.2f}" for paint, grams in more.items()},
        "then": (f"{said['then_de00']:.1f}", f"{100 * said['growth']:.0f}") if more else None,
        "over": said["start_over"],
        "dab": [f"{likely}."] if likely else [],
    }


def additions_in_text(text: str) -> Figures:
    """The same figures of the command's words."""
    adds = re.search(r"Add ([^:\n]*): then it is off", text)
    then = re.search(rf"then it is off by {_N} .*?the heap grows by {_N} %", text, re.S)
    return {
        "plate": _plate(_first(r"On the plate: ([^:]*):", text, "plate")),
        "off": _first(rf"It is off by {_N}", text, "difference"),
        "band": _first(rf"Sure to within CIEDE2000 {_N}", text, "band"),
        "add": _plate(adds[1] if adds else ""),
        "then": then and then.groups(),
        "over": "cheaper to start over" in text,
        "dab": re.findall(r"By its dab the heap is likely ([^\n]*)", text),
    }


# --- what a mix looks like, and why it greys ---


def prediction_on_page(visit: Any, asked: Mapping[str, str]) -> Figures:
    """What the page shows of a mix."""
    shown = visit.get(f"/foretell?{urlencode(asked)}").text
    assert 'class="fault"' not in shown, text_of(shown)
    text = text_of(shown)
    text = text[text.index("\nForetell it\n") + 13 :]
    lead = re.search(rf"\n([^\n]*), (as [^\n;]*); sure to within {_N} \(([\w ]+)\) 95 of 100", text)
    assert lead, text
    return {
        "mix": text.strip().split("\n")[0],
        "matched": lead[2],
        "opaque": (lead[1].lower(), lead[3]),
        "films": {over: (words, band) for over, words, band in _films(text)},
        "lab": _first(r"L\*a\*b\* ([-\d., ]*) \(D50", text, "colour").split(", "),
        "model": _first(r"(Reckoned by [^\n]*?\.)", text, "model"),
        "typical": "is only typical" in text,
        "solids": re.findall(r"Dry volume per gram is assumed for ([^;\n]*);", text),
    }


def _films(text: str) -> list[tuple[str, ...]]:
    return re.findall(rf"\nover ([^:\n]*): ([^\n]*), within {_N}", text)


def prediction_in_json(said: Mapping[str, Any], names: Mapping[str, str]) -> Figures:
    """The same figures of the command's JSON, written as the page writes them."""
    whole, *films = said["looks"]
    solids = said["dry_volume_assumed"]
    return {
        "matched": _condition(said["viewing"]),
        "opaque": (whole["words"], f"{whole['band_de00']:.1f}"),
        "films": {film["over"]: (film["words"], f"{film['band_de00']:.1f}") for film in films},
        "lab": [f"{value:.1f}" for value in whole["lab"]["D50/2°"]],
        "model": said["reckoned"],
        "typical": bool(said["density_assumed"]),
        "solids": [", ".join(names[each] for each in solids)] if solids and films else [],
    }


def prediction_in_text(text: str) -> Figures:
    """The same figures of the command's words."""
    first = re.search(r"^(.*), by (?:weight|volume), (as .*?): (.*)\.\n", text)
    assert first, text
    lines = text.splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("film "))
    rows = []
    for line in lines[start + 1 :]:
        if " ±" not in line:
            break
        rows.append([cell.strip() for cell in re.split(r"  +", line.strip())])
    return {
        "mix": first[1],
        "matched": first[2],
        "opaque": (first[3], _first(rf"Sure to within CIEDE2000 {_N}", text, "band")),
        "films": {
            row[0].partition(" over ")[2]: (row[1], row[-2].removeprefix("±")) for row in rows[1:]
        },
        "lab": [value.removeprefix("+") for value in rows[0][2:5]],
        "model": _first(r"(Reckoned by [^\n]*)", text, "model"),
        "typical": "is only typical" in text,
        "solids": re.findall(r"Dry volume per gram is assumed for ([^;\n]*);", text),
    }


def greying_on_page(visit: Any, asked: Mapping[str, str]) -> Figures:
    """What the page says of why a mix greys."""
    text = text_of(visit.get(f"/foretell?{urlencode(asked)}").text)
    text = text[text.index("Why it is as grey as it is") :]
    best = re.search(r"Cleanest on hand there, by weight: ([^\n]*) in 100\.", text)
    return {
        "chroma": re.findall(rf"Its chroma is {_N}; .*? these tubes come to {_N}\.", text),
        "dulls": re.findall(
            rf"([A-Z][\w ]*) greys it(?: \(it absorbs ([\d-]+) nm\))?: without it, chroma {_N} hi",
            text,
        ),
        "cleaner": sorted(re.findall(rf"{_N} ([A-Z][\w ]*)", best[1])) if best else [],
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
        "chroma": re.findall(rf"of chroma {_N}; at its .*?come to {_N}\.", text, re.S),
        "dulls": re.findall(
            rf"([A-Z][\w ]*) greys it(?: \(absorbs ([\d-]+) nm\))?: without it, chroma {_N} hi",
            text,
        ),
        "leans": dict(re.findall(r"\n([A-Z][\w ]*?)  +(\S[^\n]*?) *(?=\n|$)", leans)),
        "several": re.findall(r"([A-Z][\w ]*) is itself a mix \(([^)]*)\)", text),
    }


# --- how near the tubes come, and which one more would help ---


def reach_on_page(visit: Any, asked: Mapping[str, str], lay: Sequence[str]) -> Figures:
    """What the worksheet says of a colour out of reach, once further tubes were tried."""
    fields = {"lay": list(lay), **asked}
    done = visit.wait(visit.send("/mix/further", list(_pairs(fields))))
    text = text_of(visit.get(done["path"].partition("#")[0]).text)
    further = re.search(rf"With ([\w ]+) too it would be [\w ]+ \({_N}\)", text)
    return {
        "matched": _first(r"Matched (as .*? reads? it|as .*? finish)\.", text, "condition"),
        "nearest": _first(rf"the nearest is [\w ]+ \(CIEDE2000 {_N}\)", text, "nearest"),
        "missing": _first(r"\(CIEDE2000 [\d.]+\); ([^\n]*)\.\n", text, "what is missing"),
        "further": further and further.groups(),
        "model": _first(r"(Reckoned by .*?)\n", text, "model"),
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
    helps = best["difference_de00"] < nearest["difference_de00"] - 0.5
    return {
        "matched": _condition(said["viewing"]),
        "nearest": f"{nearest['difference_de00']:.1f}",
        "missing": nearest["missing"],
        "further": (names[best["paint"]], f"{best['difference_de00']:.1f}") if helps else None,
        "model": said["reckoned"],
    }


def reach_in_text(text: str) -> Figures:
    """The same figures of the command's words."""
    further = re.search(rf"With ([\w ]+) too it would be {_N} away", text)
    missing = _first(r"95 of 100 times\)\.\n(I[^\n]*)\.\n", text, "what is missing")
    return {
        "matched": _first(r"matched (as [^\n]*)\.\n", text, "condition"),
        "nearest": _first(rf"CIEDE2000 {_N} away", text, "nearest"),
        "missing": missing[:1].lower() + missing[1:],
        "further": further and further.groups(),
        "model": _first(r"(Reckoned by [^\n]*)", text, "model"),
    }
