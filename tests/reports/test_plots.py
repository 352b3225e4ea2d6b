"""Figures by matplotlib: what is in them, their files, and that importing the package does not load plotting."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm

NAMES = ("margin", "load", "use", "face", "path")


@pytest.fixture(scope="module")
def failing(carried):
    return carried(mass=3.0, names=("left $x$", "right"))


@pytest.mark.parametrize("name", NAMES)
def test_figures_are_written_as_png_and_svg_the_same_bytes_each_time(failing, tmp_path, name):
    for file, start in (("a.png", b"\x89PNG\r\n\x1a\n"), ("a.svg", b"<?xml"), ("b.svg", b"<?xml")):
        path = tmp_path / file
        figure = getattr(failing.plot, name)(path)
        assert path.read_bytes().startswith(start)
        assert path.stat().st_size < 1_000_000
        assert figure.axes
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()
    assert b"<dc:date>" not in (tmp_path / "a.svg").read_bytes()


def test_margin_line_is_that_of_the_report(failing):
    (axes,) = failing.plot.margin().axes
    line = next(line for line in axes.lines if line.get_label() == "hold margin")
    with np.errstate(divide="ignore"):
        np.testing.assert_allclose(1 / line.get_ydata(), failing.samples.hold_margin, rtol=1e-12)
    target = next(line for line in axes.lines if str(line.get_label()).startswith("target"))
    assert target.get_ydata()[0] == 0.5


def test_load_lines_are_those_of_the_report(failing):
    force = failing.plot.load().axes[0]
    z = next(line for line in force.lines if line.get_label() == "z").get_ydata()
    carried = failing.scene.airborne
    np.testing.assert_array_equal(z[carried], failing.samples.force[carried, 2])
    assert np.isnan(z[~carried]).all()


def test_face_shows_the_use_that_the_margin_stands_for(failing):
    """The margin is judged at the edge of the pads; the middle of a cell next to it is used a little less."""
    for sample in (0, 60, 130):
        axes = failing.plot.face(sample=sample).axes
        used = max(
            float(a.collections[0].get_array().max()) for a in axes if a.get_title(loc="left").endswith(": used")
        )
        edge = 100 / failing.samples.hold_margin[sample]
        assert 0.85 * edge < used <= edge


def test_wrong_wishes_are_refused(failing, tmp_path):
    with pytest.raises(gm.InputError, match=r"a name ending in \.png or \.svg"):
        failing.plot.margin(tmp_path / "margin.jpeg")
    with pytest.raises(gm.InputError, match="a sample from 0 to"):
        failing.plot.face(sample=10**6)
    with pytest.raises(gm.InputError, match="a report made by a check"):
        replace(failing, scene=None).plot.face()


@pytest.mark.parametrize("name", NAMES)
def test_odd_reports_have_figures_too(carried, name):
    getattr(carried(gravity=(0.0, 0.0, 0.0), samples=5, seconds=0.01).plot, name)()
    getattr(carried(moves=False, names=("only",), mass=1e5).plot, name)()
