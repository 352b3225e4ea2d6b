"""Pads to choose from: against figures by hand, and each row against the checker."""

from dataclasses import replace
from itertools import islice

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.reports.choices_as_text import choices_lines
from gripmargin.results.choice import Choice
from gripmargin.tuning import choosing
from gripmargin.tuning.layouts import area_of, layouts
from support.handed import Handed, plate_job

G = 9.80665


@pytest.fixture
def lump(smooth, slide, even_film):
    """A small part lifted by one pad under its centre of mass, far slower than it swings: pull alone."""
    outline = [[-0.06, -0.04], [0.06, -0.04], [0.06, 0.04], [-0.06, 0.04]]
    return gm.Job(
        name="lump",
        trajectory=smooth(length=0.1, duration=3.0),
        robot=slide((0, 0, 1)),
        gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", even_film(5e4), [0.02, 0.02]),)),
        materials=(replace(even_film(1e5), name="strong"),),
        part=gm.Part(
            face="plane",
            rigid=True,
            mass=0.5,
            com=[0.01, 0.0, 0.002],
            inertia=[1e-4, 1e-4, 2e-4, 0, 0, 0],
            outline=outline,
        ),
    )


@pytest.fixture
def few(monkeypatch):
    """Some of the layouts: looking at all takes long."""
    monkeypatch.setattr(choosing, "layouts", lambda job: (a for a in layouts(job) if a.name != "four" and not a.wide))


class TestLayouts:
    def test_squares_lie_about_the_centre_of_mass_and_on_the_part(self, lump):
        """80 % of the way to the nearer edge at 50 mm; side 10 mm: middles 2 (40 - 5) mm apart."""
        made = {(each.name, each.wide, each.material.name): each.with_area(4e-4) for each in layouts(lump)}
        wide = made["four", True, "strong"].gripper.pads
        middles = np.array([pad.pose_in_tool[:2, 3] for pad in wide])
        assert middles.mean(axis=0) == pytest.approx([0.01, 0.0])
        assert np.ptp(middles, axis=0) == pytest.approx([0.07, 2 * (0.8 * 0.04 - 0.005)])
        assert all(area_of(job) == pytest.approx(4e-4) for job in made.values())
        assert all(pad.material.name == name for (_, _, name), job in made.items() for pad in job.gripper.pads)
        assert len(made) == 2 * 6

    def test_where_there_is_no_room_there_is_no_row(self, lump):
        assert [each.name for each in layouts(lump) if each.with_area(0.09**2)] == []  # the part is 80 mm wide
        assert {each.name for each in layouts(lump) if each.with_area(0.075**2)} == {"as drawn", "one"}

    def test_pads_that_lean_are_only_made_larger_or_of_another_material(self, lump):
        leaning = gm.Pad.rectangle("pad", lump.gripper.pads[0].material, [0.02, 0.02], gm.pose(rpy=(0.1, 0, 0)))
        assert {each.name for each in layouts(replace(lump, gripper=gm.Gripper(pads=(leaning,))))} == {"as drawn"}


class TestWithTheProgram:
    def test_the_smallest_that_carry(self, lump, few):
        """Pull alone asks ``target m (g + a) / S`` of area; of sizes a factor of sqrt 2 apart the next larger one.

        Twice the strength halves it, whatever the number of pads.
        """
        job = replace(lump, targets=gm.Targets(hold=2.0))
        found = choosing.smallest_that_carry(job, lambda _: None)
        need = 2.0 * 0.5 * G / 5e4  # and a few per cent for the acceleration and the swing
        squares = {(each.layout, each.material, each.spacing): each for each in found if each.layout != "as drawn"}
        assert len(squares) == 2 * 2
        for (_, material, _), each in squares.items():
            least = need / (2.0 if material == "strong" else 1.0)
            assert least < each.area < 1.1 * np.sqrt(2.0) * least
            assert each.verdict == "pass"
            assert each.release is None
        drawn = [each.area for each in found if each.layout == "as drawn"]
        assert min(drawn) > need / 2.0  # 10 mm beside the centre of mass

    def test_each_row_is_what_the_checker_says(self, lump, few):
        found = choosing.smallest_that_carry(replace(lump, materials=()), lambda _: None)
        assert {each.layout for each in found} == {"as drawn", "one", "two"}
        for each in found:
            (layout,) = (a for a in choosing.layouts(lump) if (a.name, a.material.name) == (each.layout, each.material))
            report = gm.check_job(layout.with_area(each.area))
            least = min(report.checks, key=lambda r: r.low / r.target)
            assert (report.verdict, least.check) == (each.verdict, each.by)
            assert least.low / least.target == pytest.approx(each.ratio)

    @pytest.mark.parametrize(("hold_down", "verdict"), [(0.0, "fail"), (40.0, "pass")])
    def test_pads_that_carry_and_do_not_let_go(self, hold_down, verdict, monkeypatch):
        """Pulled off straight: restraint over strength times area, over the target."""
        nest = gm.Nest(face=gm.pose(xyz=(0.3, 0, 0)), hold_down=hold_down, lateral_force=50.0, moment=5.0)
        job = Handed(plate_job(size=0.025)).made(nest=nest, press=3e-4)
        monkeypatch.setattr(choosing, "layouts", lambda job: islice(layouts(job), 1))
        (found,) = choosing.smallest_that_carry(job, lambda _: None)
        assert found.verdict == verdict
        due = (0.3 * G + hold_down) / (3e4 * found.area) / job.targets.release
        assert found.release == pytest.approx(due, rel=0.03)
        assert (found.by == "release") == (verdict == "fail")


def test_limits_of_each(lump, few):
    """As of the job with these pads; upward no more than ``a = S A / (target m) - g``."""
    material = replace(lump.gripper.pads[0].material, damping_ratio=0.1)
    gripper = gm.Gripper(pads=(replace(lump.gripper.pads[0], material=material),))
    job = replace(lump, trajectory=gm.hanging_still(), robot=None, gripper=gripper, materials=())
    asked = {"tilts": [0.0], "ramps": [0.1], "radii": [1.0]}
    found = gm.limits(job, **asked, grasp=True)
    most = [each.acceleration for each in found.choices]
    assert most == sorted(most, reverse=True)
    assert len(most) == 3 * 3
    for layout in choosing.layouts(job):
        if layout.name == "one":
            (each,) = (c for c in found.choices if (c.layout, c.area) == ("one", pytest.approx(4e-4)))
            due = gm.limits(layout.with_area(each.area), **asked).linear["any"][0, 1]
            assert each.acceleration == pytest.approx(due)
            assert due < 5e4 * each.area / 2.0 / 0.5 - G
            assert each.by == "swing"
    said = gm.limits_text(found)
    assert "decided by" in said
    assert all(len(line) <= 100 for line in said.splitlines())
    assert gm.limits_json(found).count('"layout": "one"') == 3


def test_the_table_rounds_margins_down():
    choice = Choice(
        material="a film of a long name",
        layout="two",
        pads=2,
        size=(0.02, 0.0201),
        spacing=(0.1, 0.0),
        at=(-0.0001, 0.01),
        area=8.04e-4,
        verdict=gm.Verdict.FAIL,
        by="release",
        ratio=0.9999,
        hold=1.2345,
        release=0.9999,
    )
    row = choices_lines([choice])[1]
    assert "a film... 2 20 x 20.1" in " ".join(row.split())
    assert row.split()[-5:] == ["fail", "0.99", "release", "1.23", "0.99"]
