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
NUMBER = r"(\d+(?:\.\d+)?)"


def text_of(page: str) -> str:
    """The words of a page, a line for each element."""
    body = re.sub(r"<(script|style|head|svg)\b.*?</\1>", "", page, flags=re.S)
    words = re.sub(r"</?(?:b|small|a|span)\b[^>]*>", "", body)
    words = unescape(re.sub(r"<[^>]*>", "\n", words))
    return re.sub(r"\s*\n\s*", "\n", words)


def first(pattern: str, text: str, what: str) -> Any:
    found = re.search(pattern, text, re.S)
    assert found, f"no {what} in:\n{text[:3000]}"
    return found[1]


def _amounts(text: str) -> frozenset[str]:
    """Amounts and what of, as a set: the faces may name them in any order."""
    # Commas stand in a tint's words too: "2 parts Dusk Violet tint, 1 Dusk Violet to 9 Hull White".
    text = re.sub(r" tint, 1 [\w ]+? to \d+ [\w ]+?(?=,|$)", " tint", text.strip())
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
        rf"Against the target: [\w ]+ \(CIEDE2000 {NUMBER}\), sure to within {NUMBER}.*?"
        rf"in each part lands {NUMBER} off",
        text, re.S,
    )  # fmt: skip
    amounts = first(r"In this order\n(.*?)\nonce the", text, "order")
    rest = first(r"Costs in colour\n(.*?)\n(?:The density|Keep it)", text, "other measures")
    lines = rest.split("\n")
    others = {
        lines[i]: (_amounts(lines[i + 1]), first(rf"\({NUMBER}\)", lines[i + 2], "cost"))
        for i in range(0, len(lines), 3)
    }
    nearest = re.search(rf"reaches it: the nearest is [\w ]+ \(CIEDE2000 {NUMBER}\)", text)
    return {
        "matched": first(r"Matched (as [^.]*)\.", text, "condition"),
        "nearest": nearest and nearest[1],
        "ways": found,
        "weighed": frozenset(
            re.sub(r" tint, .*|, at first.*", lambda m: " tint" if "tint" in m[0] else "", line)
            for line in amounts.split("\n")
        ),
        "others": others,
        "step": first(rf"may move it by {NUMBER}", text, "error of the scale"),
        "model": first(r"(Calculated by .*?)\n", text, "model"),
    }


def recipe_in_json(said: Mapping[str, Any], names: Mapping[str, str]) -> Figures:
    """The same figures of the command's JSON, written as the faces write them."""
    best = said["recipes"][0]

    def amounts(measured: Mapping[str, Any]) -> frozenset[str]:
        return frozenset(
            f"{_amount(value, measured['unit'], measured['step'])} {named(label, names)}"
            for label, value in measured["amounts"].items()
        )

    by_scale, *others = best["amounts"]
    return {
        "matched": condition(said["viewing"]),
        "nearest": f"{said['nearest_de00']:.1f}" if said["missing"] else None,
        "ways": [
            tuple(f"{way[key]:.1f}" for key in ("difference_de00", "band_de00", "clumsy_de00"))
            for way in said["recipes"]
        ],
        "weighed": amounts(by_scale),
        "others": {m["measure"]: (amounts(m), f"{m['moved_de00']:.1f}") for m in others},
        "step": f"{best['weighing_de00']:.2f}",
        "model": said["calculated"],
    }


def recipe_in_text(text: str) -> Figures:
    """The same figures of the command's words."""
    lines = text.splitlines()
    best = next(line for line in lines if line.startswith("1. "))
    start = next(i for i, line in enumerate(lines) if line.startswith("measured "))
    columns = [match.start() for match in re.finditer(r"\S+(?: \S+)*", lines[start])]
    rows: list[list[str]] = []
    for line in lines[start + 1 :]:
        if not line.strip():
            break
        cells = [line[a:b].strip() for a, b in zip(columns, [*columns[1:], None], strict=True)]
        if cells[0]:
            rows.append(cells)
        else:  # a row that is too wide goes on below
            rows[-1] = [f"{a} {b}".strip() for a, b in zip(rows[-1], cells, strict=True)]
    others = {row[0]: (_amounts(row[1]), first(rf"\({NUMBER}\)", row[2], "cost")) for row in rows}
    nearest = re.search(rf"the nearest stays CIEDE2000 {NUMBER} away", text)
    found = re.findall(
        rf"[Oo]ff by CIEDE2000 {NUMBER} .*?sure to within {NUMBER}.*?each part lands {NUMBER} off",
        text, re.S,
    )  # fmt: skip
    return {
        "matched": first(r"matched (as [^\n]*)\.\n", text, "condition"),
        "nearest": nearest and nearest[1],
        "ways": found,
        "weighed": _amounts(best.partition(". ")[2].rpartition(":")[0]),
        "others": others,
        "step": first(rf"g may move it by {NUMBER}", text, "error of the scale"),
        "model": first(r"(Calculated by [^\n]*)", text, "model"),
    }


def named(label: str, names: Mapping[str, str]) -> str:
    """The name of a tube, or of its tint, by its nickname."""
    nickname, space, tint = label.partition(" ")
    return f"{names[nickname]}{space}{tint}"


def digits(step: float) -> int:
    """Decimals that a step has."""
    return len(f"{step:g}".partition(".")[2])


def _amount(value: float, unit: str, step: float) -> str:
    if unit == "spoon":
        whole, quarter = divmod(round(4 * value), 4)
        words = " ".join(filter(None, [str(whole or ""), ["", "¼", "½", "¾"][quarter]]))
    else:
        words = f"{value:.{digits(step)}f}"
    return f"{words} {unit}{'s' if unit in ('spoon', 'part') and value > 1 else ''}"


def condition(said: Mapping[str, str]) -> str:
    lit = "under warm daylight (D50/2°)"
    assert "light" not in said, "every mix here is matched under the light that is assumed"
    if "finish" in said:
        return f"as the eye sees it in a {said['finish']} finish {lit}"
    if "geometry" in said:
        return f"as an instrument of geometry {said['geometry']} reads it, {lit}"
    return f"as the instrument that read the paints reads it, {lit}"


# --- what to add to the plate ---


def additions_on_page(visit: Any, asked: Mapping[str, str], plate: Mapping[str, float]) -> Figures:
    """Put grams on an empty plate, and say what the worksheet says to add."""
    fields: dict[str, Any] = {"lay": ["HULL", "BUOY", "ROPE"], "tubes": "2", "make": "20g"}
    fields |= {"mixing": "yes", **asked}
    start = visit.get(f"/mix?{urlencode(fields, doseq=True)}").text
    if "way" not in fields:
        fields["way"] = first(r"[?&]way=([^&#\"]+)", unescape(start), "way").replace("%2C", ",")
    where = f"/mix?{urlencode(fields, doseq=True)}"
    before = visit.get(where).text
    held = r'action="/mix/plate">.*?name="seen" value="(\w+)"'
    if "Clear the plate" in before and plate:
        cleared = {"do": "clear", "seen": first(held, before, "plate")}
        done = visit.send("/mix/plate", {**cleared, "target": asked["target"]})
        assert done.status == 200, done.text
        before = visit.get(where).text
    if plate:
        grams = {f"g:{nickname}": f"{value:g}" for nickname, value in plate.items()}
        added = {"do": "add", **grams, "seen": first(held, before, "plate")}
        done = visit.send("/mix/plate", {**added, "target": asked["target"]})
        assert done.status == 200, done.text
    shown = visit.get(where).text
    assert 'class="fault"' not in shown, text_of(shown)
    text = text_of(shown)
    text = text[text.index("\nOn the plate\n") :]
    adds = re.search(r"Add ([^:\n]*): (?:so much|stir)", text)
    then = re.search(rf"Then it is [\w ]+ \({NUMBER}\), and the heap grows by {NUMBER} %", text)
    return {
        "plate": _plate(text.split("\n")[2].removesuffix(".")),
        "off": first(rf"should be [\w ]+ \(CIEDE2000 {NUMBER}\)", text, "difference"),
        "band": first(rf"sure to within {NUMBER}", text, "band"),
        "add": _plate(adds[1] if adds else ""),
        "then": then and then.groups(),
        "over": bool(re.search("less paint to start over|Only a fresh batch", text)),
        "dab": re.findall(r"By its dab the heap is likely ([^\n]*)", text),
    }


def _plate(text: str) -> dict[str, str]:
    """Grams by name, as written but for the digits, which the faces cut otherwise on a plate."""
    found = re.findall(rf"{NUMBER} g ([A-Za-z][A-Za-z ]*)", text)
    return {name.strip(): f"{float(grams):.2f}" for grams, name in found}


def additions_in_json(said: Mapping[str, Any], names: Mapping[str, str]) -> Figures:
    """The same figures of the command's JSON, written as the faces write them."""
    dab = said["dab"]
    likely = dab and ", ".join(
        f"{100 * dab['likely_parts'][paint]:.0f} % {names[paint]} "
        f"({100 * low:.0f} to {100 * high:.0f})"
        for paint, (low, high) in dab["between"].items()
    )
    # Before a dab is dried both faces say all that is lacking, as far as is known.
    told = said["whole"] if said["dab_first"] else said
    more, places = told["additions"], digits(said["step"])

    def weighed(amounts: Mapping[str, float]) -> dict[str, str]:
        return {names[paint]: f"{round(grams, places):.2f}" for paint, grams in amounts.items()}

    return {
        "plate": weighed(said["plate"]),
        "off": f"{said['off_de00']:.1f}",
        "band": f"{said['band_de00']:.1f}",
        "add": weighed(more),
        "then": (f"{told['then_de00']:.1f}", f"{100 * told['growth']:.0f}") if more else None,
        "over": said["start_over"],
        "dab": [f"{likely}."] if likely else [],
    }


def additions_in_text(text: str) -> Figures:
    """The same figures of the command's words."""
    adds = re.search(r"Add ([^:\n]*): then it is off", text)
    then = re.search(rf"then it is off by {NUMBER} .*?the heap grows by {NUMBER} %", text, re.S)
    return {
        "plate": _plate(first(r"On the plate: ([^:]*):", text, "plate")),
        "off": first(rf"It is off by {NUMBER}", text, "difference"),
        "band": first(rf"Sure to within CIEDE2000 {NUMBER}", text, "band"),
        "add": _plate(adds[1] if adds else ""),
        "then": then and then.groups(),
        "over": bool(re.search("less paint to start over|Only a fresh batch", text)),
        "dab": re.findall(r"By its dab the heap is likely ([^\n]*)", text),
    }
