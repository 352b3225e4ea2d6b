"""Limits as a page: escaped, without a network, a line a tilt."""

import re

import gripmargin as gm
from support.made_up import limits


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
