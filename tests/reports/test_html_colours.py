"""Colours of the page: contrast on its paper, causes for those who are colour-blind, one cause one colour."""

import re
from itertools import combinations

import numpy as np
import pytest

from gripmargin.reports import plots
from gripmargin.reports.html.timeline import CAUSE_STYLE


def luminance(colour):
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a, b):
    """WCAG 2.2, definition of contrast ratio."""
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def themes(text):
    (style,) = re.findall(r"<style>(.*?)</style>", text, re.DOTALL)
    light, dark = (
        dict(re.findall(r"--([\w-]+):(#[0-9a-f]{6})", block))
        for block in re.findall(r":root\{(.*?)\n\}", style, re.DOTALL)[:2]
    )
    return light, light | dark


def test_words_and_lines_stand_out_from_the_paper(pages):
    """WCAG 2.2: 1.4.3 asks 4.5 for text, 1.4.11 asks 3 for what graphics consist of."""
    for theme in themes(pages["lid-no-data"]):
        for ground in ("paper", "sheet"):
            for word in ("ink", "soft", "pass", "fail", "unsure"):
                assert contrast(theme[word], theme[ground]) >= 4.5, (word, ground)
            for line in ("l1", "l2", "l3", "l4", "l5", *(f"c-{letter}" for letter in "abcdefghi")):
                assert contrast(theme[line], theme[ground]) >= 3.0, (line, ground)


# Machado, Oliveira & Fernandes, IEEE Trans. Vis. Comput. Graph. 15:1291-1298, 2009, severity 1, for linear RGB
SEEN = {
    "red-blind": [
        [0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998],
    ],
    "green-blind": [
        [0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881],
    ],
}  # fmt: skip


XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])  # sRGB, IEC 61966-2-1


def lab(linear):
    """CIE 1976 L*a*b* of linear sRGB under D65."""
    x = XYZ @ np.clip(linear, 0, 1) / XYZ.sum(axis=1)
    f = np.where(x > 0.008856, np.cbrt(x), 7.787 * x + 16 / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("seen", SEEN.values(), ids=SEEN)
def test_causes_differ_for_those_who_are_red_green_blind(pages, seen):
    """A difference of 10 in CIE 1976 L*a*b* is plain to see beside each other (2.3 is just noticeable)."""
    for theme in themes(pages["lid-no-data"]):
        parts = [[int(theme[f"c-{x}"][i : i + 2], 16) / 255 for i in (1, 3, 5)] for x in "abcdefghij"]
        linear = [[c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in rgb] for rgb in parts]
        places = [lab(np.array(seen) @ rgb) for rgb in linear]
        assert min(np.linalg.norm(a - b) for a, b in combinations(places, 2)) > 10.0


def test_a_colour_is_one_cause_in_all_drawings(pages):
    light, _ = themes(pages["lid-no-data"])
    for cause, (colour, _) in plots.CAUSES.items():
        assert light[f"c-{CAUSE_STYLE[cause]}"] == colour
    for kind in (".c-", ".plot .area-", ".bar-"):
        for letter in "abcdefghj":
            assert re.search(rf"{re.escape(kind + letter)}[,{{][^}}]*var\(--c-{letter}\)", pages["lid-no-data"])


def test_ramps_keep_their_order_without_colour(pages):
    for theme in themes(pages["lid-no-data"]):
        for ramp, steps in (("u", 10), ("b", 11)):
            values = [luminance(theme[f"{ramp}{i}"]) for i in range(steps)]
            assert values in (sorted(values), sorted(values, reverse=True))
            assert len(set(values)) == steps
