"""A factor for each move between rests."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.rests import stretches
from gripmargin.tuning import moves, quick


@pytest.fixture
def two_moves(slide, even_film, flat_part):
    """A slow move there and a quick one back, with rest or a blend between them."""

    def make(exact_moves, *, gap=0.0, phases=(), labels=("there", "back")):
        exact = exact_moves(1, (0.0, 2.0, [1.0]), (2.0 + gap, 1.0, [-1.0]))
        t = np.arange(0.0, 3.0 + max(gap, 0.0) + 0.002, 0.004)
        q, qd, qdd = exact.at(t)
        moves = None if labels is None else tuple(labels[int(x > 2.0 + gap / 2)] for x in t)
        return gm.Job(
            name="there and back",
            trajectory=gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd, moves=moves),
            robot=slide(),
            gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", even_film(4e4), [0.05, 0.05]),)),
            part=flat_part(1.0),
            gravity=(0.0, 0.0, 0.0),
            phases=phases,
        )

    return make


STILL = gm.Targets(hold=2.0, swing=0.01)  # the swing aside: closed forms know none


def test_each_move_gets_its_own_factor(two_moves, exact_moves):
    job = replace(two_moves(exact_moves), targets=STILL)
    found = gm.tune(job).moves
    # A S / (2 m) = 50 m/s^2; peaks 10/sqrt(3) L/T^2 (Flash & Hogan 1985) over 2 s and 1 s
    expected = [np.sqrt(50.0 / (10 / np.sqrt(3) / T**2)) for T in (2.0, 1.0)]
    assert [row.name for row in found.rows] == ["there", "back"]
    assert [row.factor for row in found.rows] == pytest.approx(expected, rel=2e-3)
    assert found.cycle_then == pytest.approx(sum(row.time_then for row in found.rows))
    assert found.passed
    assert gm.check_job(found.job).passed


def test_a_move_that_rings_on_into_the_next_is_slowed_for_both(two_moves, exact_moves):
    """The part is undamped: what the first move starts lasts. Factors that leave the swing aside do not pass."""
    job = two_moves(exact_moves)
    found = gm.tune(job).moves
    still = gm.tune(replace(job, targets=STILL)).moves
    assert found.passed
    assert all(row.factor < other.factor for row, other in zip(found.rows, still.rows, strict=True))
    assert {row.limit.by for row in found.rows} == {"swing"}
    low = min(check.low / check.target for check in found.report.checks)
    assert 1.0 <= low < 1.03  # and not by being useless
    assert not gm.check_job(replace(still.job, targets=job.targets)).passed


def test_where_no_speed_was_seen_to_be_enough_that_of_the_whole_program_is_tried(two_moves, exact_moves, monkeypatch):
    """A part that rings on need not ring less at a speed a little lower: a search may miss all that pass."""
    job = replace(two_moves(exact_moves), targets=gm.Targets(hold=26.0))
    monkeypatch.setattr(moves, "RESERVE", np.inf)
    monkeypatch.setattr(moves, "largest", lambda *_: None)
    tuning = gm.tune(job)
    assert 0.5 < tuning.override.factor < 1.0
    assert tuning.moves.passed
    assert [row.factor for row in tuning.moves.rows] == pytest.approx([tuning.override.factor] * 2, rel=0.11)
    assert gm.check_job(tuning.moves.job).passed


def test_a_search_that_saw_too_little_is_made_good(two_moves, exact_moves, monkeypatch):
    """What was found falls short by up to four per cent of the target; the checker has the last word."""
    job = replace(two_moves(exact_moves), targets=gm.Targets(hold=6.0))
    monkeypatch.setattr(moves, "RESERVE", 0.96)
    monkeypatch.setattr(quick, "RESERVE", 0.96)
    found = gm.tune(job).moves
    assert found.passed
    assert min(check.low / check.target for check in found.report.checks) < 1.05


@pytest.mark.parametrize("most", [1, 10**9])
def test_many_moves_are_given_back_speed_some_at_a_time(two_moves, exact_moves, monkeypatch, most):
    job = two_moves(exact_moves)
    monkeypatch.setattr(moves, "MOST", most)
    found = gm.tune(job).moves
    assert found.passed
    assert found.cycle_then <= 1.01 * gm.tune(job).override.cycle_then


def test_moves_that_blend_are_one(two_moves, exact_moves):
    job = two_moves(exact_moves, gap=-0.3)
    rows = gm.tune(job).moves.rows
    assert [row.name for row in rows] == ["there + back"]


def test_without_labels_rests_are_found(two_moves, exact_moves):
    job = two_moves(exact_moves, gap=0.5, labels=None)
    case = work_out(job)
    found = stretches(case, by_label=True)
    t = case.job.trajectory.t
    ends = [(t[s.first], t[s.last]) for s in found]
    assert np.allclose(ends, [(0.0, 2.0), (2.0, 2.5), (2.5, 3.5)], atol=0.03)
    assert [s.kept for s in found] == ["", "stands still", ""]
    assert gm.tune(job).moves.passed


def test_moves_without_a_part_keep_their_speed(two_moves, exact_moves):
    phases = (gm.Phase(kind="carry", moves=("there",)), gm.Phase(kind="free", moves=("back",)))
    rows = gm.tune(two_moves(exact_moves, phases=phases)).moves.rows
    assert rows[0].factor > 2.0
    assert rows[1].factor == 1.0
    assert rows[1].kept == "no part"


def test_phases_by_time_move_with_the_program(two_moves, exact_moves):
    phases = (gm.Phase(kind="carry", start=0.0, end=2.0), gm.Phase(kind="free", start=2.0, end=3.0))
    job = two_moves(exact_moves, phases=phases)
    found = gm.tune(job).moves
    assert found.job.phases[0].end == pytest.approx(2.0 / found.rows[0].factor)
    assert np.array_equal(found.job.phase_map.covers("carry"), work_out(job).job.phase_map.covers("carry"))


def test_positions_alone_are_enough(two_moves, exact_moves):
    job = replace(two_moves(exact_moves), targets=STILL)
    bare = replace(
        job, trajectory=gm.JointTrajectory(t=job.trajectory.t, q=job.trajectory.q, moves=job.trajectory.moves)
    )
    found = gm.tune(bare).moves
    assert found.passed
    exact = gm.tune(job).moves
    assert all(0.9 * b.factor < a.factor <= b.factor for a, b in zip(found.rows, exact.rows, strict=True))


def test_poses_are_tuned_as_well(even_film, flat_part, exact_moves):
    exact = exact_moves(3, (0.0, 1.5, [0.4, 0.2, 0.1]))
    t = np.arange(0.0, 1.502, 0.004)
    down = np.broadcast_to(np.diag([1.0, -1.0, -1.0]), (t.size, 3, 3))
    job = gm.Job(
        name="poses",
        trajectory=gm.PoseTrajectory(t=t, position=exact.at(t)[0], rotation=down),
        gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", even_film(4e4), [0.05, 0.05]),)),
        part=flat_part(1.0),
    )
    tuning = gm.tune(job)
    assert tuning.passed
    assert tuning.override.factor > 1.5
    with pytest.raises(gm.InputError, match="program of poses"):
        gm.tune(job, retime=True)
