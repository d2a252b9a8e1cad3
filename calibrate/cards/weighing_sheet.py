"""Prints the weighing sheet beside a card: what to weigh, a tick for each act, what it costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from io import BytesIO
from itertools import count

from reportlab.lib.colors import Color
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import KeepTogether, Paragraph, SimpleDocTemplate, Spacer, Table
from reportlab.platypus.flowables import Flowable

from ..errors import CalibrateDo, Face
from .card import Drawdown
from .card_plan import CardPlan
from .layout import Layout, Method
from .printed_card import CAUTIONS
from .printing import BOLD, PLAIN, load_fonts
from .weighing_out import table_minutes, weighed

A4_MM, LETTER_MM = (210.0, 297.0), (215.9, 279.4)
_INCHES = (LETTER_MM, (139.7, 215.9))
_MARGIN_MM = 17.0

ACTS = ("mix", "wipe", "spread", "scrape", "next")
ACTS_WORDS = (
    "Tick each act: mix; wipe knife and palette; spread on the card; scrape back what is left; "
    "weigh the next."
)
MIXED_ONLY = "mixed, not painted"
BEFORE = (
    "Print on heavy paper, 200 g/m² or more, without optical brightener if you can, and tape it "
    "down flat by its edges, its square marks left free. Paint the bands up to the outline: two "
    "coats of black, two coats of white. When they are dry, seal them with two coats of clear "
    "medium, since printer ink bleeds into wet paint and printer card holds a brightener that "
    "glows. Paint no step before the last coat is dry. Everything to weigh with is at hand; tubes "
    "are kneaded."
)
REFERENCES = (
    "References, best first: a bought target with its data file, scanned with the same settings; "
    "a bought grey card, one piece stuck on black and one on white; a grey of your own on both. "
    "With none the painted black and white stand in, and everything comes out less sure."
)
SPREADING: Mapping[Method, str] = {
    "brush": "Two or three thin coats, each dry before the next, until the black no longer shows; "
    "keep the mixes covered meanwhile. A masstone that never hides is to be expected, no error.",
    "drawdown": "One even film of {gap:g} µm wet: set the applicator, or lay a strip of tape up to "
    "25 mm wide along either side of the step (masking tape is some 150 µm a layer: measure yours) "
    "and pull a stiff card along them, once, from the outer edge of the card inwards. Lift the "
    "tape before the film dries. It is read between the marks above and below the bands.",
}
DRYING: Mapping[Method, str] = {
    "brush": "Let it dry overnight, longer where it is thick. If a fingertip drags, don't scan.",
    "drawdown": "Let it dry flat: overnight for a thin film, two to three days for a thick one. "
    "If a fingertip drags, don't scan or measure.",
}
CLEAN_UP = (
    "Wipe knife, palette and brushes dry before you rinse them. Let scraps harden and bin them. "
    "Keep skins of paint out of the sink."
)


@dataclass(frozen=True)
class TubeWords:
    """What a sheet says of a tube.

    Attributes
    ----------
    ladder : str
        Why it gets the ladder it gets; empty for the white.
    caution : str
        What to mind with this paint beyond the common cautions.
    """

    nickname: str
    name: str
    ladder: str = ""
    price_per_g: float | None = None
    caution: str = ""


def sheet_size(layout: Layout) -> tuple[float, float]:
    """Paper of the sheet, mm: letter where the card's is cut in inches, else A4."""
    return LETTER_MM if layout.page_mm in _INCHES else A4_MM


def amounts(plan: CardPlan, d: Drawdown) -> list[tuple[str, str]]:
    """Write each amount of a step as it is measured out, and of what.

    Parameters
    ----------
    plan : CardPlan
    d : Drawdown
        Step.

    Returns
    -------
    list of (amount, paint)
    """
    said = []
    if d.taken_from is not None and d.taken_g is not None:
        density = plan.density(_contents(plan, d.taken_from))
        said.append((plan.measure.said(d.taken_g, density), f"of {d.taken_from}"))
    for paint, grams in d.masses.items():
        said.append((plan.measure.said(grams, plan.density({paint: grams})), paint))
    return said


def _contents(plan: CardPlan, step: str) -> dict[str, float]:
    """Grams of each tube paint in a step, shares of what was taken included."""
    d = next(d for d in plan.card.drawdowns if d.step == step)
    held = dict(d.masses)
    if d.taken_from is not None and d.taken_g is not None:
        parent = _contents(plan, d.taken_from)
        whole = sum(parent.values())
        for paint, grams in parent.items():
            held[paint] = held.get(paint, 0.0) + grams * d.taken_g / whole
    return held


def used_words(plan: CardPlan, tubes: Sequence[TubeWords]) -> str:
    """Say what paint the card takes, and what that costs where the prices are known.

    Parameters
    ----------
    plan : CardPlan
    tubes : mapping of nickname to Tube

    Returns
    -------
    str
    """
    grams = weighed(plan.card.drawdowns)
    known = {tube.nickname: tube.price_per_g for tube in tubes}
    parts, cost, all_known = [], 0.0, True
    for paint, each in grams.items():
        price = known.get(paint)
        all_known &= price is not None
        cost += each * (price or 0.0)
        money = "" if price is None else f" ({each * price:.2f})"
        parts.append(f"{paint} {each:.1f} g{money}")
    words = f"{', '.join(parts)}; {sum(grams.values()):.1f} g in all."
    if all_known:
        words += f" At the prices you gave that is {cost:.2f}."
    elif cost:
        words += " The money is what the tubes with a known price come to."
    return words


def time_words(plan: CardPlan) -> str:
    """Say how long a card takes to paint."""
    minutes = table_minutes(plan.card.drawdowns)
    return f"About {minutes} minutes at the table, and between coats until they are dry."


def print_sheet(
    plan: CardPlan,
    layout: Layout,
    tubes: Sequence[TubeWords],
    number: int | None = None,
    face: Face = str,
) -> bytes:
    """Print the weighing sheet of a card.

    Parameters
    ----------
    plan : CardPlan
    layout : Layout
    tubes : sequence of TubeWords
        Of every paint on the card, the white last.
    number : int, optional
        Of the card in the studio.
    face : callable, optional
        Words what to do afterwards.

    Returns
    -------
    bytes
        A PDF, of as many pages as it takes.
    """
    load_fonts()
    width, height = sheet_size(layout)
    file = BytesIO()
    document = SimpleDocTemplate(
        file,
        pagesize=(width * mm, height * mm),
        leftMargin=_MARGIN_MM * mm,
        rightMargin=_MARGIN_MM * mm,
        topMargin=15 * mm,
        bottomMargin=14 * mm,
        title=f"Weighing sheet of card {plan.card.name}",
        creator="tintladder",
        invariant=1,
    )
    document.build(_story(plan, layout, tubes, number, face, (width - 2 * _MARGIN_MM) * mm - 12))
    return file.getvalue()


def _spreading(plan: CardPlan, layout: Layout) -> str:
    return SPREADING[layout.method].format(gap=plan.card.drawdowns[0].gap_um or 0.0)


def _style(size: float, font: str = PLAIN, grey: float = 0.0, after: float = 0.0) -> ParagraphStyle:
    return ParagraphStyle(
        f"{font}{size}{grey}",
        fontName=font,
        fontSize=size,
        leading=size * 1.3,
        textColor=Color(grey, grey, grey),
        spaceAfter=after * mm,
        splitLongWords=1,
    )


def _story(
    plan: CardPlan,
    layout: Layout,
    tubes: Sequence[TubeWords],
    number: int | None,
    face: Face,
    width_pt: float,
) -> list[Flowable]:
    plain, small, bold = _style(8.5, after=1), _style(8.0, grey=0.3), _style(8.5, BOLD)
    ordinal = "" if number is None else f" (no. {number})"
    by = "weight" if plan.measure.unit_ml is None else "volume"
    shares = (
        f"Ratios are always white to colour, by {by}: 9:1 is nine parts of white to one of colour. "
        "Measured so, the share of colour in every step"
    )
    if plan.card.purpose == "check":
        shares = (
            "No fit sees these mixtures unless you ask it to learn from them: they show how well "
            "it predicts them, so weigh them with care and mix each until no streak is left. "
            "Measured so, the share of every paint"
        )
    story: list[Flowable] = [
        Paragraph(f"Weighing sheet · card {escape(plan.card.name)}{ordinal}", _style(14, BOLD)),
        Spacer(0, 2.5 * mm),
    ]
    for tube in tubes:
        name = "" if tube.name == tube.nickname else f" is {escape(tube.name)}"
        caution = f" <b>Caution:</b> {escape(tube.caution)}." if tube.caution else ""
        ladder = escape(tube.ladder) or ", the white"
        story.append(Paragraph(f"<b>{escape(tube.nickname)}</b>{name}{ladder}.{caution}", plain))
    story += [
        Paragraph(
            f"Measured with {plan.measure.name}. {shares} is sure to better than 5 %. Where it "
            "came to something else, write that down beside its number.",
            plain,
        ),
        Paragraph(f"<b>Before.</b> {BEFORE}", plain),
        Paragraph(REFERENCES, plain),
        Paragraph(f"<b>Spreading.</b> {_spreading(plan, layout)}", plain),
        Paragraph(ACTS_WORDS, plain),
        Spacer(0, 1.5 * mm),
        _table(plan, layout, width_pt, small, bold),
        Spacer(0, 3 * mm),
    ]
    tell = face(CalibrateDo.SAY_WEIGHED(card=plan.card.name if number is None else number))
    story.append(
        KeepTogether(
            [
                Paragraph(f"<b>Drying.</b> {DRYING[layout.method]}", plain),
                Paragraph(f"<b>Clean up.</b> {CLEAN_UP}", plain),
                Paragraph(f"<b>Paint it takes.</b> {escape(used_words(plan, tubes))}", plain),
                Paragraph(f"<b>Time it takes.</b> {time_words(plan)}", plain),
                Paragraph(f"<b>Afterwards.</b> {escape(tell)}", plain),
                Paragraph(CAUTIONS, small),
            ]
        )
    )
    return story


def _table(
    plan: CardPlan, layout: Layout, width_pt: float, small: ParagraphStyle, bold: ParagraphStyle
) -> Table:
    """One row a step: its name, what to weigh, where to write, ticks, how sure it is."""
    plain = _style(8.5)
    head = ("Step", "Weigh", "Weighed", *ACTS, "sure to")
    rows: list[list[object]] = [[Paragraph(words, small) for words in head]]
    lines: list[tuple[object, ...]] = []
    before: str | None = None
    number = count(1)
    for i, d in enumerate(plan.card.drawdowns, 1):
        parts = amounts(plan, d)
        kept = [
            f"keep {plan.measure.said(o.taken_g or 0.0, plan.density(_contents(plan, d.step)))} "
            f"for {o.step}"
            for o in plan.card.drawdowns
            if o.taken_from == d.step
        ]
        if not d.over:
            kept.insert(0, MIXED_ONLY)
        weigh = " + ".join(f"{amount} {what}" for amount, what in parts)
        cell: list[Flowable] = [Paragraph(escape(weigh), plain)]
        cell += [Paragraph(escape(words), small) for words in kept]
        sure = f"{100 * plan.errors[d.step]:.1f} %" if plan.errors[d.step] > 5e-4 else ""
        blanks = "<br/>".join(f"{next(number)}: __________" for _ in parts)
        rows.append(
            [
                Paragraph(escape(d.step), bold),
                cell,
                Paragraph(blanks, small),
                *(_Tick() for _ in ACTS),
                Paragraph(sure, small),
            ]
        )
        if before is not None and d.paint != before:
            lines.append(("LINEABOVE", (0, i), (-1, i), 0.9, Color(0.3, 0.3, 0.3)))
        before = d.paint
    name = 29 if layout.tubes > 1 else 20
    ticks = [12.0 * mm] * len(ACTS)
    rest = width_pt - (name + 26 + 13) * mm - sum(ticks)
    table = Table(
        rows, colWidths=[name * mm, rest, 26 * mm, *ticks, 13 * mm], repeatRows=1, splitByRow=1
    )
    table.setStyle(
        [
            ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
            ("LINEBELOW", (0, 0), (-1, -1), 0.3, Color(0.7, 0.7, 0.7)),
            ("LEFTPADDING", (0, 0), (-1, -1), 1.5),
            ("RIGHTPADDING", (0, 0), (-1, -1), 1.5),
            ("TOPPADDING", (0, 0), (-1, -1), 3.5),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 3.5),
            *lines,
        ]
    )
    return table


class _Tick(Flowable):
    """A square to tick."""

    def __init__(self) -> None:
        super().__init__()
        self.width = self.height = 3.6 * mm

    def wrap(self, *_: float) -> tuple[float, float]:
        """Size of the square."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw it."""
        self.canv.setStrokeGray(0.35)
        self.canv.setLineWidth(0.5)
        self.canv.rect(0, 0, self.width, self.height)
