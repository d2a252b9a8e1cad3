"""What a sitting asks and shows, in words; the same in the terminal and on the page."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ...calibrate.instrument.progress import BLACK_TRAP, VOID, WHITE_TILE
from ...calibrate.instrument.questions import Answer, Question, Shown
from ...calibrate.instrument.tiles import PREFIX
from ...calibrate.optics.colour import in_words
from ..common.words import colour_words

ANSWERS: Mapping[Answer, str] = {
    "read": "read",
    "keep": "keep it as it is",
    "again": "read again",
    "skip": "skip",
    "back": "go back one",
    "finish": "leave them out, finish",
    "wet": "it is still wet",
    "stop": "stop here, go on later",
}
CALIBRATED_ON: Mapping[str, str] = {WHITE_TILE: "the white tile", BLACK_TRAP: "the black trap"}


def answer_words(question: Question, answer: Answer) -> str:
    """Say what an answer to a question does."""
    if (question.kind, answer) == ("ready", "read"):
        return "all so, begin"
    if answer == "again" and question.kind in ("fault", "lost"):
        return "try again"
    if (question.kind, answer) == ("patch", "finish"):
        return "leave it at that"
    if answer == "again" and question.kind == "patch":
        return "begin this patch anew" if question.repeat > 1 else "read the last one again"
    return ANSWERS[answer]


def place_words(place: str) -> str:
    """Say where the instrument is to be laid."""
    if place in CALIBRATED_ON:
        return CALIBRATED_ON[place]
    if place.startswith(PREFIX):
        return f"the tile {place.removeprefix(PREFIX)}"
    step, _, over = place.rpartition("/")
    return f"{'bare card' if step == 'bare' else step}, over {over}" if step else place


def told_words(words: str) -> str:
    """Say what goes on, with tile and trap by their everyday names."""
    for place, name in CALIBRATED_ON.items():
        words = words.replace(place, name)
    return words


def request(question: Question) -> list[str]:
    """Say what to do, in lines."""
    if question.kind == "ready":
        return ["Before the first reading:", *(f"- {w}" for w in question.words.splitlines())]
    if question.kind == "tile":
        why = f" ({question.words})" if question.words else ""
        return [f"Lay the instrument on {place_words(question.place)}{why}."]
    if question.kind == "patch":
        if question.repeat > 1:
            how = f"Lift it and set it down again, a little aside: {place_words(question.place)}"
        else:
            how = f"Set it on {place_words(question.place)}"
        of = f", reading {question.repeat} of {question.repeats}" if question.repeats > 1 else ""
        why = f" ({question.words})" if question.words else ""
        return [
            f"{how}{of}{why}.",
            *([f"It lies {question.move} from here."] if question.move else []),
        ]
    about = f"{place_words(question.place)}: " if question.place else ""
    words = f"{about}{question.words}"
    return [words if words.endswith((".", "?")) else f"{words}."]


def remark(shown: Shown) -> str:
    """Say what there is to say about a reading: words before figures."""
    said = shown.reading.said
    if VOID in said:
        return f"doesn't count: {said[VOID]}"
    if shown.reading.is_tile:
        if "drift" in said:
            return f"changed by {said['drift']:.4f} since it was calibrated"
        if shown.reading.place not in CALIBRATED_ON:
            return ""
        return "calibrated on it" if said["calibrated"] else "as it was before"
    if shown.apart is None:
        return "" if np.isnan(shown.colour).any() else colour_words(shown.colour)
    return f"repeats: {in_words(shown.apart)} ({shown.apart:.2f})"
