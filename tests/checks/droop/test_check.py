"""How far a part droops, against closed forms of beams and the heavy strip; what is large is a bound."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.droop.check import DROOP, GROWS, LARGE, LESS

G = 9.80665
DOWN = np.diag([1.0, -1.0, -1.0])
FILM = gm.PadMaterial(
    pull_off_stress=75e3, shear_strength=65e3, normal_stiffness=1.2e8, shear_stiffness=4e7, damping_ratio=0.1
)


def strip(length, thickness=0.0005, width=0.02, **more):
    """Of aluminium without contraction across, ``q = 13.24 Pa``, ``D = 0.7292 N m``."""
    outline = np.array([[-length, -width], [length, -width], [length, width], [-length, width]]) / 2
    mass = 2700.0 * length * width * thickness
    com, inertia = gm.uniform_plate(mass, outline, thickness)
    given = {"mass": mass, "com": com, "inertia": inertia, "outline": outline, "thickness": thickness}
    return gm.Part(**given, face="plane", youngs_modulus=70e9, poissons_ratio=0.0, **more)


def judged(part, *pads, upwards=0.0, **targets):
    """Hang still, or with a steady acceleration upwards."""
    t = np.linspace(0.0, 0.2, 41)
    position = np.stack([0 * t, 0 * t, upwards * t**2 / 2], axis=1)
    job = gm.Job(
        name="droops",
        trajectory=gm.PoseTrajectory(t=t, position=position, rotation=np.broadcast_to(DOWN, (t.size, 3, 3))),
        part=part,
        gripper=gm.Gripper(pads=pads),
        targets=gm.Targets(hold=1.0, swing=0.5, **targets),
    )
    return DROOP.answer(work_out(job))


def wide(length, x=0.0):
    return gm.Pad.rectangle(f"{x}", FILM, [length, 0.02], gm.pose((x, 0, 0)))


def cantilever(a):
    """``q a^4 / 8 D``, and what the slope at the edge of a long pad adds (Hetenyi 1946, from memory)."""
    q, rigidity = 2700.0 * 0.0005 * G, 70e9 * 0.0005**3 / 12
    beta = (1.2e8 / 4 / rigidity) ** 0.25
    slope = 2 * beta**2 * (q * a + beta * q * a**2) / 1.2e8
    return q * a**4 / 8 / rigidity + slope * a


def test_end_of_a_strip_beyond_a_long_pad():
    a = 0.12
    (result,) = judged(strip(0.08 + 2 * a, clearance=1e-3), wide(0.08)).results
    assert result.details.droop == pytest.approx(cantilever(a), rel=1e-2)
    assert abs(result.details.where[0]) == pytest.approx(0.04 + a)
    assert result.value == pytest.approx(1e-3 / cantilever(a), rel=1e-2)
    assert result.verdict is gm.Verdict.PASS


def test_middle_of_a_strip_between_two_pads():
    """Clamped at both ends it sags by ``q l^4 / 384 D``; the pads give way as springs of rocking, which adds to it."""
    clear = 0.3 - 0.06
    (result,) = judged(strip(0.36, clearance=1e-2), wide(0.06, -0.15), wide(0.06, 0.15)).results
    clamped = 2700.0 * 0.0005 * G * clear**4 / 384 / (70e9 * 0.0005**3 / 12)
    assert clamped < result.details.droop < 1.5 * clamped
    assert abs(result.details.where[0]) < 0.02


@pytest.mark.parametrize(("share", "verdict"), [(1.05, "pass"), (0.95, "fail")])
def test_just_passes_and_just_fails(share, verdict):
    clearance = share * cantilever(0.12)
    found = judged(strip(0.32, clearance=clearance), wide(0.08))
    assert str(found.results[0].verdict) == verdict
    assert len(found.findings) == (verdict == "fail")
    if found.findings:
        assert "while it is carried the part droops by" in found.findings[0].text


def test_acceleration_counts_and_a_target():
    slow, fast = (judged(strip(0.32, clearance=1e-3), wide(0.08), upwards=a).results[0] for a in (0.0, 5.0))
    assert fast.details.droop / slow.details.droop >= (G + 5.0) / G * (1 - 1e-2)
    less = judged(strip(0.32, clearance=1.2 * cantilever(0.12)), wide(0.08), droop=2.0).results[0]
    assert less.verdict is gm.Verdict.FAIL


def test_what_droops_by_far_is_a_bound():
    """600 mm beyond the pad are 1.58 gravity lengths: small bending tells 0.49 times that, the strip 0.41 times."""
    a = 0.6
    (result,) = judged(strip(0.08 + 2 * a, clearance=0.28), wide(0.08)).results
    assert result.details.large
    assert result.verdict is gm.Verdict.UNDECIDED
    assert result.high is None
    assert any("the most that it may be" in line for line in result.lines)
    assert judged(strip(0.08 + 2 * a, clearance=0.4), wide(0.08)).results[0].low > 1.0


@pytest.mark.parametrize(("lengths", "drop"), [(0.5, 0.0156219), (1.0, 0.1234714), (1.5, 0.3735408)])
def test_how_much_less_a_heavy_strip_droops(lengths, drop):
    """Drop of its tip over its length, clamped level, with every rotation: integrated by a shooting method (own)."""
    linear = lengths**3 / 8
    least = linear * (1 - LESS * (linear / LARGE) ** GROWS)
    assert least <= drop * (1 + 1e-6)
    assert least == pytest.approx(drop, rel=2e-3)


def test_nothing_is_asked_where_the_job_asks_nothing():
    assert judged(strip(0.32), wide(0.08)).results == ()
    (rigid,) = judged(
        replace(strip(0.32, clearance=1e-4), youngs_modulus=None, poissons_ratio=None, rigid=True), wide(0.08)
    ).results
    assert rigid.verdict is gm.Verdict.PASS
    (unknown,) = judged(
        replace(strip(0.32, clearance=1e-4), youngs_modulus=None, poissons_ratio=None), wide(0.08)
    ).results
    assert unknown.verdict is gm.Verdict.UNDECIDED


def test_where_it_is_placed_the_tolerance_counts():
    """The same strip lowered into a nest and let go."""
    t = np.linspace(0.0, 0.4, 41)
    position = np.stack([0 * t, 0 * t, 0.05 * (1 - np.minimum(t / 0.3, 1.0)) ** 3], axis=1)
    moves = tuple("lower" if each < 0.3 else "let go" for each in t)
    for tolerance, verdict in ((1.3, "pass"), (0.7, "fail")):
        job = gm.Job(
            name="placed",
            trajectory=gm.PoseTrajectory(
                t=t, position=position, rotation=np.broadcast_to(DOWN, (41, 3, 3)), moves=moves
            ),
            part=strip(0.32),
            gripper=gm.Gripper(pads=[wide(0.08)]),
            phases=(gm.Phase(kind="carry", moves=("lower",)), gm.Phase(kind="release", moves=("let go",))),
            accept=("moving_start",),  # it is lowered at speed from the first sample on
            nest=gm.Nest(face=np.eye(4), tolerance=tolerance * cantilever(0.12)),
        )
        (result,) = DROOP.answer(work_out(job)).results
        assert result.details.during == "placing"
        assert str(result.verdict) == verdict
