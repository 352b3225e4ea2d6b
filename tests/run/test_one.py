"""A program is worked out some thousand samples at a time: no figure depends on how many, and memory on few per sample.

Where blocks meet nothing may be seen, and a program of a million samples has to fit into one gigabyte.
"""

import tracemalloc

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.base import stored
from gripmargin.checks.hold import use
from gripmargin.checks.swing import ringing
from gripmargin.contact import loads
from gripmargin.kernels import adaptive_fit, time_law
from gripmargin.motion import closer_bounds, rate_error, rates, tool_motion
from gripmargin.reports.as_json import report_tree

SIZES = (ringing, "AT_ONCE"), (loads, "AT_ONCE"), (time_law, "AT_ONCE"), (rate_error, "AT_ONCE"), (use, "CHUNK")
BYTES = 850.0  # a sample: of 1 GB for 1e6 of them, less 150 MB for Python, its libraries and blocks


def in_blocks(patch, size):
    """Work out so many samples at a time; rates by parts of a size that windows of all widths share."""
    for module, name in (*SIZES, (tool_motion, "KEPT")):
        patch.setattr(module, name, size)
    for module in (rates, closer_bounds):
        patch.setattr(module, "AT_ONCE", 6 * size)  # values of all channels
    patch.setattr(stored, "PART", size - size % 32)  # blocks of noise are whole
    patch.setattr(stored, "LONG", size)  # [bytes]: what is kept of every sample is mapped from a file
    patch.setattr(adaptive_fit, "_CHUNK", 768)


def figures(tree, path=""):
    """All numbers of a report with their places in it; texts by themselves."""
    if isinstance(tree, dict):
        for key, value in tree.items():
            yield from figures(value, f"{path}.{key}")
    elif isinstance(tree, list | tuple):
        for k, value in enumerate(tree):
            yield from figures(value, f"{path}[{k}]")
    else:
        yield path, tree


@pytest.fixture(scope="module")
def job(arm, exact_moves, plate):
    """A six-axis arm with two overlapping moves, or swings of all joints, and a part on a pad."""
    moves = exact_moves(6, (0.1, 0.9, [0.9, 0.3, -0.5, 0.4, 0.3, -0.8]), (0.5, 0.8, [-0.4, 0.5, 0.2, -0.3, 0.2, 0.9]))
    film = gm.PadMaterial(
        pull_off_stress=5e4, shear_strength=5e4, normal_stiffness=1e9, shear_stiffness=3e8, damping_ratio=0.02
    )

    def make(n, *, given):
        t = np.arange(n) * 0.002
        q, qd, qdd = moves.at(t) if n < 2000 else (np.sin(t[:, None] + k * np.pi / 2 + np.arange(6)) for k in range(3))
        known = {"qd": qd, "qdd": qdd} if given else {}
        return gm.Job(
            name="long",
            trajectory=gm.JointTrajectory(t=t, q=q, **known),
            gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [0.1, 0.1]),)),
            part=plate(0.8, (0.01, -0.015, 0.03)),
            robot=arm,
            targets=gm.Targets(hold=0.01),
        )

    return make


@pytest.mark.parametrize("given", [True, False], ids=["rates", "positions"])
def test_the_size_of_blocks_does_not_matter(job, given):
    """Not even where a move, a rest or the end of the program lies next to an edge."""
    asked, found = job(1003, given=given), []
    for size in (4096, 167):
        with pytest.MonkeyPatch.context() as patch:
            in_blocks(patch, size)
            found.append(dict(figures(report_tree(gm.check_job(asked), samples=True))))
    for other in found[1:]:
        assert other.keys() == found[0].keys()
        for place, figure in found[0].items():
            if isinstance(figure, float):
                assert other[place] == pytest.approx(figure, rel=1e-9, abs=1e-9, nan_ok=True), place
            else:
                assert other[place] == figure, place


@pytest.mark.parametrize("given", [True, False], ids=["rates", "positions"])
def test_a_million_samples_fit_into_a_gigabyte(job, given):
    """By what each further sample takes at most; `tests/bench/memory.py` measures the million."""
    sizes, peaks = (3000, 6000), []
    with pytest.MonkeyPatch.context() as patch:
        in_blocks(patch, 750)
        for n in sizes:
            asked = job(n, given=given)
            tracemalloc.start()
            gm.check_job(asked)
            peaks.append(tracemalloc.get_traced_memory()[1])
            tracemalloc.stop()
    each = (peaks[1] - peaks[0]) / (sizes[1] - sizes[0]) + asked.trajectory.q.itemsize * 7
    assert each < BYTES
