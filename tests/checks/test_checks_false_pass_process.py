"""Attempts to get a pass for a job whose process forces ask more of the pads than its target allows."""

import json
from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.pressed import pressed_by_forces
from support.pushed import AREA, PULL, SIZE, lowered, push

TARGETS = gm.Targets(hold=2.0, stop=1.5)
HARD = 0.7 * PULL * AREA  # [N], a pull with a margin of 1.4 at rest
CARRY = gm.Phase(kind="carry", moves=("down", "insert"))


def verdicts(*forces, checks=("hold", "swing", "flange", "stop", "pressure"), **more):
    more = {"targets": TARGETS, **more}
    report = gm.check_job(lowered(*forces, **more), trial=True, checks=checks)
    return {result.check: str(result.verdict) for result in report.checks} | {"": report.verdict}


def test_what_the_attacks_are_made_of_passes_without_forces():
    assert verdicts()[""] == "pass"
    assert verdicts(push((0, 0, 1)))[""] == "pass"


def test_a_force_of_nothing_changes_nothing():
    """To the last bit."""
    plain, none = (lowered(*forces, targets=TARGETS, stop=gm.Stop(time=0.2)) for forces in ((), (push((0, 0, 0)),)))
    one, other = (json.loads(gm.report_json(gm.check_job(job), samples=True)) for job in (plain, none))
    assert one == other


@pytest.mark.parametrize(
    "when",
    [
        {"moves": ("insert",)},
        {"moves": ("after",)},
        {"start": 1.0, "end": 1.05},
        {"start": 1.0011, "end": 1.0017},  # between two samples
        {"start": 1.001, "end": 1.0091},  # from one gap into the next
        {"start": 1.599, "end": 1.7},  # to beyond the program
        {"start": -1.0, "end": 0.001},
        {"start": 0.4, "end": 1.2},
    ],
)
def test_whenever_it_acts(when):
    found = verdicts(push((0, 0, HARD), **when))
    assert found["hold"] == "fail"
    assert found["swing"] == "fail"


@pytest.mark.parametrize("samples", [17, 33, 101])
def test_between_samples_far_apart(samples):
    found = verdicts(push((0, 0, HARD), start=0.91, end=0.915), t=np.linspace(0.0, 1.6, samples))
    assert found["hold"] != "pass" != found["swing"]


@pytest.mark.parametrize("sign", ["+", "+-"])
@pytest.mark.parametrize("frame", ["tool", "world"])
def test_either_way_round(sign, frame):
    """A push by itself presses the part on; either way round it pulls half of the time."""
    force = (0, 0, -HARD) if frame == "tool" else (0, 0, HARD)
    found = verdicts(push(force, sign=sign, frame=frame), checks=("hold",))
    assert found["hold"] == ("pass" if sign == "+" else "fail")


def test_a_moment_alone_and_either_way_beside_a_force_that_relieves():
    """M y / I at the edge; a push is not counted on to take it off."""
    moment = 0.7 * PULL * SIZE**3 / 6
    assert verdicts(gm.Process(moves=("insert",), moment=[0, moment, 0]))["hold"] == "fail"
    both = gm.Process(moves=("insert",), moment=[0, moment, 0], sign="+-"), push((0, 0, -HARD))
    assert verdicts(*both)["hold"] == "fail"
    helps = gm.Process(moves=("insert",), moment=[0, moment, 0]), push((0, 0, -10 * HARD), at=(0.02, 0, 0))
    assert verdicts(*helps, checks=("hold",))["hold"] == "fail"


def test_two_forces_that_each_would_pass():
    half = push((0, 0, 0.4 * PULL * AREA))
    assert verdicts(half, checks=("hold",))["hold"] == "pass"
    assert verdicts(half, half, checks=("hold",))["hold"] == "fail"


def test_a_light_pull_that_the_part_is_not_held_still_for():
    """At rest with a margin of 2.9; it overshoots to half of that (factor 2, undamped)."""
    found = verdicts(push((0, 0, PULL * AREA / 3.0)))
    assert (found["hold"], found["swing"]) == ("pass", "fail")
    slow = verdicts(push((0, 0, PULL * AREA / 3.0), shape="ramp"))
    assert (slow["hold"], slow["swing"]) == ("pass", "pass")


def test_a_push_that_snaps_off():
    """What a push of 0.45 of the pull-off force leaves behind when it is gone, undamped: twice that, as a pull."""
    forces = push((0, 0, -0.45 * PULL * AREA))
    found = verdicts(forces)
    assert found["hold"] == "pass"
    assert found["swing"] != "pass"


def test_a_stop_while_it_acts():
    more = {"stop": gm.Stop(time=0.3), "pad": {"damping_ratio": 0.05}}
    assert verdicts(**more)["stop"] == "pass"
    assert verdicts(push((0, 0, HARD)), **more)["stop"] == "fail"
    assert verdicts(push((0, 0, HARD), start=0.81, end=0.812), **more)["stop"] != "pass"


def test_one_pad_lost_and_peel():
    targets = gm.Targets(hold=1.0, swing=0.1, peel=2.0)
    found = verdicts(push((0, 0, HARD)), targets=targets, checks=("hold",), accept=("target",))
    assert (found["hold"], found["peel"]) == ("pass", "fail")


@pytest.mark.parametrize("phases", [(CARRY,), (CARRY, gm.Phase(kind="free", moves=("after",)))])
def test_where_the_part_does_not_hang_on_the_pads(phases):
    """A move that no carry covers: nobody bears the force there."""
    for moves in (("after",), ("insert", "after")):
        found = verdicts(push((0, 0, 1), moves=moves), phases=phases, checks=("hold", "swing"))
        assert found[""] == "undecided"
    assert verdicts(push((0, 0, 1)), phases=phases, checks=("hold", "swing"))[""] == "pass"


def test_while_it_is_released():
    nest = gm.Nest(face=np.block([[np.eye(3), np.array([[0], [0], [-0.1]])], [np.zeros(3), 1.0]]))
    phases = gm.Phase(kind="carry", moves=("down",)), gm.Phase(kind="release", moves=("insert", "after"))
    found = verdicts(push((0, 0, 1)), nest=nest, phases=phases, checks=("hold", "release", "swing"))
    assert "pass" not in found.values()


def test_a_part_that_is_pushed_aside_as_it_is_placed():
    """0.02 mm of play; 3 N along 64 kN/m of the pads are 0.05 mm, and as much again as it comes at once."""
    face = np.diag([1.0, 1.0, 1.0, 1.0])
    face[2, 3] = -0.1
    phases = CARRY, gm.Phase(kind="release", moves=("after",))
    more = {"nest": gm.Nest(face=face, tolerance=2e-5), "phases": phases, "checks": ("settle",), "move": 0.1}
    assert verdicts(**more)["settle"] == "pass"
    assert verdicts(push((3, 0, 0)), **more)["settle"] == "undecided"


def test_a_push_that_buckles_the_face():
    """4 N/cm2 at rest, twice that as it comes at once, on a face that bears 6: what it then holds is not known."""
    pad = {"overload_pressure": 6e4, "overload_residual": 0.1}
    found = verdicts(push((0, 0, -4e4 * AREA), moves=("after",)), pad=pad)
    assert found["pressure"] == "undecided"
    assert found["hold"] == found["swing"] == "undecided"
    slow = verdicts(push((0, 0, -4e4 * AREA), moves=("after",), shape="ramp"), pad=pad)
    assert slow["pressure"] == slow["hold"] == "pass"
    hard = verdicts(push((0, 0, -6.2e4 * AREA), moves=("after",), shape="ramp"), pad=pad)
    assert hard["pressure"] == "fail"
    assert hard["hold"] == "undecided"


def test_a_pull_that_goes_at_once_throws_the_part_back_onto_its_pads():
    """60 N that rest and go leave a swing about none: half a period later 60 N exp(-pi z) press on 16 cm2, 32 kPa."""
    pad, pull = {"overload_pressure": 3e4, "overload_residual": 0.5}, push((0, 0, 60.0))
    (pressed,) = pressed_by_forces(work_out(lowered(pull, damping=0.05, pad=pad)))
    truth = 60.0 * np.exp(-np.pi * 0.05) / AREA
    assert truth < pressed.most.max() <= 2.0 * 60.0 / AREA * (1.0 + 1e-9)  # twice, where it met a swing of its own
    assert pressed.most[-1] < 0.01 * truth  # faded 0.4 s later
    found = verdicts(pull, pad=pad, damping=0.05, targets=gm.Targets(hold=1.1, swing=1.05, stop=0.1))
    assert found["pressure"] == found["hold"] == found["swing"] == "undecided"


def test_what_the_part_may_take():
    """The edge of a push 10 mm beside the middle: F / A + F e y / I = 2.5 F / A, less the weight."""
    job = lowered(push((0, 0, -30.0), at=(0.01, 0, 0), shape="ramp"), targets=TARGETS)
    pressed = (2.5 * 30.0 - 0.2 * 9.80665) / AREA
    for limit, verdict in ((0.99 * pressed, "fail"), (1.15 * pressed, "pass")):
        part = gm.Part(
            mass=0.2, com=[0, 0, 0.002], inertia=np.diag([1e-4, 1e-4, 2e-4]), face="plane", rigid=True,
            max_pressure=limit,
        )  # fmt: skip
        report = gm.check_job(replace(job, part=part), trial=True, checks=["pressure"])
        assert str(report.checks[0].verdict) == verdict


def test_a_flange_that_bears_the_part_but_not_the_force():
    gripper = {"payload": 3.0, "peak_force": 40.0}
    job = lowered(targets=TARGETS, flange=gm.Flange(**gripper))
    heavy = replace(job.gripper, mass=0.5, com=[0, 0, -0.05], inertia=np.diag([1e-4] * 3))
    for force, verdict in ((0.0, "pass"), (14.0, "pass"), (20.0, "undecided"), (34.0, "fail")):
        forces = (push((0, 0, force)),) if force else ()
        report = gm.check_job(replace(job, gripper=heavy, process=forces), trial=True, checks=["flange"])
        assert str(report.checks[0].verdict) == verdict, force


def test_limits_of_any_path_refuse_forces():
    with pytest.raises(gm.InputError, match="process: found forces of the process"):
        gm.limits(lowered(push()))


def test_a_recording_of_a_program_with_forces():
    job = lowered(targets=TARGETS)

    def recorded(*forces):
        own = replace(job, process=forces, recording=job.trajectory, recording_offset=0.0)
        report = gm.check_job(own, trial=True, checks=["recorded"])
        return {result.check: str(result.verdict) for result in report.checks}

    assert set(recorded().values()) == {"pass"}
    assert set(recorded(push((0, 0, HARD))).values()) == {"fail"}
    light = recorded(push((0, 0, PULL * AREA / 3.0)))
    assert light == {"recorded": "pass", "swing_as_run": "fail"}


def test_a_part_that_lies_on_the_pads_presses_them_twice_too_while_it_is_pushed():
    """Undamped, a load that comes at once overshoots by as much again (Chopra ch. 4): weight and force alike."""
    (pressed,) = pressed_by_forces(work_out(lowered(push((0, 0, -20)), turned=np.eye(3))))
    at_rest = 0.2 * 9.80665 + 20.0
    assert pressed.surely.max() == pytest.approx(at_rest / AREA, rel=1e-3)
    assert pressed.most.max() == pytest.approx(2.0 * at_rest / AREA, rel=0.03)
