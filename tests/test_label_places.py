"""Labels of pictures: each there, off each other, off marks, and off lines where there is room."""

from __future__ import annotations

import html
import itertools
import re

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text
from matplotlib.transforms import Bbox
from reportlab.pdfbase.pdfmetrics import stringWidth
from tintladder.calibrate.cards.printing import PLAIN, load_fonts
from tintladder.database.mixing.gamut import gamut
from tintladder.database.mixing.palette import Palette
from tintladder.database.paper.report.page import report
from tintladder.database.paper.report.pictures import COMPASS, SIDE
from tintladder.database.pictures.label_places import label_places
from tintladder.database.pictures.reach import reach_figure
from tintladder.database.pictures.style import axes_or_new, place_labels
from tintladder.database.releases.load import load_release

from .invented_palette import invented_coefficients


def extents(ax, labels):
    renderer = FigureCanvasAgg.get_renderer(ax.get_figure(root=True).canvas)
    return [Text.get_window_extent(label, renderer) for label in labels]


def apart(ax, labels, points, half_pt):
    """Assert that labels touch neither each other nor marks of a half width, nor leave the axes."""
    figure = ax.get_figure(root=True)
    figure.draw_without_rendering()
    boxes = extents(ax, labels)
    half = half_pt * figure.dpi / 72
    marks = [
        Bbox([[x - half, y - half], [x + half, y + half]])
        for x, y in ax.transData.transform(points)
    ]
    for one, other in itertools.combinations(boxes, 2):
        assert not one.overlaps(other)
    for box in boxes:
        assert not any(box.overlaps(mark) for mark in marks)
        assert ax.bbox.contains(*box.min) and ax.bbox.contains(*box.max)


@pytest.mark.parametrize("seed", range(4))
def test_every_point_of_a_crowd_is_named(seed):
    rng = np.random.default_rng(seed)
    points = np.concatenate([rng.normal(0, 0.05, (12, 2)), rng.uniform(-1, 1, (25, 2))])
    ax = axes_or_new(None, 6, 6)
    ax.set(xlim=(-1.1, 1.1), ylim=(-1.1, 1.1))
    ax.plot(*points.T, "o", ms=5, mew=0)
    texts = [f"Paint number {i}" for i in range(len(points))]
    labels = place_labels(ax, points, texts)
    assert {label.get_text() for label in labels} == set(texts)
    apart(ax, labels, points, 2.5)
    assert ax.findobj(lambda artist: artist.get_gid() == "leader")


def test_every_tube_of_a_reach_is_named():
    palette = Palette(invented_coefficients(10))
    found = gamut(palette)
    names = [f"{paint.title()} as it is called" for paint in palette.paints]
    ax = reach_figure(found, names).axes[0]
    labels = [text for text in ax.texts if text.get_text()]
    assert sorted(text.get_text() for text in labels) == sorted(names)
    apart(ax, labels, found.colours[: len(names), 1:], 3.4)


def test_a_label_keeps_off_a_line_where_it_can():
    ax = axes_or_new(None, 5, 5)
    ax.set(xlim=(-1, 1), ylim=(-1, 1))
    # Through the places that are liked best.
    ax.plot([0, 0.15], [0, 0.11], "-")
    (line,) = ax.lines
    ax.plot(0, 0, "o", ms=8)
    (label,) = place_labels(ax, np.zeros((1, 2)), ["masstone"])
    ax.get_figure(root=True).draw_without_rendering()
    (box,) = extents(ax, [label])
    assert not line.get_path().transformed(ax.transData).intersects_bbox(box, filled=False)


def test_a_label_lies_on_a_line_before_it_is_left_out():
    grid = [np.array([[0.0, y], [100.0, y]]) for y in np.arange(0, 100, 4)]
    room = Bbox([[0, 0], [100, 100]])
    at, size = np.array([[50.0, 50.0]]), np.array([[30.0, 8.0]])
    (place,) = label_places(at, size, room, np.zeros((0, 3)), grid, away=6, gap=1)
    assert place is not None and not place.led
    full = [Bbox([[0, 0], [100, 100]])]
    assert label_places(at, size, room, np.zeros((0, 3)), (), full, away=6, gap=1) == [None]


def test_a_leader_crosses_no_label_and_no_mark():
    rng = np.random.default_rng(2)
    at = rng.normal(150, 25, (10, 2))
    marks = np.column_stack([at, np.full(10, 2.0)])
    room = Bbox([[0, 0], [300, 300]])
    places = label_places(at, np.tile([40.0, 9.0], (10, 1)), room, marks, away=8, gap=1)
    assert any(place.led for place in places)
    for i, j in itertools.permutations(range(10), 2):
        start, end = at[i], np.array(places[i].nearest(*at[i]))
        way = start + np.linspace(0, 1, 200)[:, None] * (end - start)
        x0, y0, x1, y1 = places[j].box
        assert not ((way > (x0, y0)) & (way < (x1, y1))).all(axis=1).any()


def test_labels_of_a_report_keep_off_marks_lines_and_words(demo):
    """By the width that a wide typeface gives them; matplotlib brings it along."""
    load_fonts()
    page = report(load_release(demo.release.archive), "ab" * 32)
    graphs = re.findall(r'<svg class="graph".*?</svg>', page, re.DOTALL)
    assert graphs
    on_path = 0
    for graph in graphs:
        if "#spectrum" in graph:
            continue
        boxes = []
        for x, y, anchor, words in re.findall(
            r'<text x="([\d.]+)" y="([\d.]+)" text-anchor="(\w+)">(.*?)</text>', graph
        ):
            wide = stringWidth(html.unescape(words), PLAIN, 11)
            left = float(x) - (wide if anchor == "end" else 0)
            boxes.append(Bbox.from_bounds(left, float(y) - 8, wide, 10))
        marks = [
            Bbox([[float(x) - 5, float(y) - 5], [float(x) + 5, float(y) + 5]])
            for x, y in re.findall(r'<circle class="dot" cx="([\d.]+)" cy="([\d.]+)"', graph)
        ] + [
            Bbox.from_bounds(float(x), float(y), 5, 5)
            for x, y in re.findall(r'<rect class="dot" x="([\d.]+)" y="([\d.]+)"', graph)
        ]
        for box in boxes:
            assert box.x0 >= 0 and box.x1 <= SIDE
            assert not any(box.overlaps(mark) for mark in marks)
            for points in re.findall(r'<polyline class="line-path" points="(.*?)"', graph):
                way = np.array([p.split(",") for p in points.split()], dtype=float)
                on_path += bool(((way > box.min) & (way < box.max)).all(axis=1).any())
        if "#plane" in graph:
            middles = [word.y - 3 for word in COMPASS if word.anchor == "middle"]
            assert not any(box.y0 < y < box.y1 and box.x0 < 140 < box.x1
                           for box in boxes for y in middles)  # fmt: skip
    assert on_path == 0
