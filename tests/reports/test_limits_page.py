"""Limits as a page: escaped, without a network, a line a tilt."""

import re

import numpy as np

import gripmargin as gm
from gripmargin.results.limits import DIRECTIONS


def limits(*, known=True, **more):
    """Made-up limits, falling with the tilt and rising with the ramp."""
    tilts, ramps = np.deg2rad([0.0, 20.0, 90.0]), np.array([0.0, 0.1, np.inf])
    grid = np.array([3.0, 2.0, 1.0])[:, None] * np.array([0.2, 0.8, 1.0]) if known else np.full((3, 3), np.nan)
    values = {
        "job": 'plate <b> & "co"',
        "verdict": gm.Verdict.PASS if known else gm.Verdict.UNDECIDED,
        "tilts": tilts,
        "ramps": ramps,
        "linear": dict.fromkeys(DIRECTIONS, grid),
        "turning": {"any": grid, "spin": grid},
        "together": grid / 2,
        "radii": np.array([0.1]),
        "circling": grid[None],
        "stop": grid[:, 0],
        "targets": {"hold": 2.0},
        "frequencies": np.array([10.0]),
    }
    return gm.Limits(**values | more)


def test_a_line_for_each_tilt_and_a_table_for_each_question():
    page = gm.limits_html(limits())
    assert page.count("<polyline") == 3
    assert page.count("<table") == 4
    assert "plate &lt;b&gt; &amp; &quot;co&quot;" in page
    assert not re.search(r"https?://(?!www\.w3\.org)", page)
    assert page == gm.limits_html(limits())
    # higher is more: the first point of the lowest tilt stands above that of the steepest
    first = re.findall(r'<polyline points="[\d.]+,([\d.]+)[^>]*class="(c-\w)"', page)
    heights = {style: float(y) for y, style in first}
    assert heights["c-b"] < heights["c-d"]


def test_without_limits_the_page_says_why():
    page = gm.limits_html(limits(known=False, blocked=("nobody knows <why>",)))
    assert "nobody knows &lt;why&gt;" in page
    assert "<polyline" not in page
    assert "undecided" in page


def test_text_without_limits_says_why():
    said = gm.limits_text(limits(known=False, blocked=("nobody knows\x1b why",)))
    assert said.startswith("UNDECIDED")
    assert "nobody knows  why" in said
    assert "tilt up to" not in said
