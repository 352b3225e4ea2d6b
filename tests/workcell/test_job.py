"""Jobs built in Python: joints matched to the robot, phases over the samples, values that stay."""

import copy
import pickle

import numpy as np
import pytest

from gripmargin.base.errors import InputError
from gripmargin.motion.chain import Chain
from gripmargin.motion.trajectory import JointTrajectory, PoseTrajectory
from gripmargin.workcell import Gripper, Nest, Pad, PadMaterial, Part, Phase, Pick, Stop
from gripmargin.workcell.job import Job, JointLimits

FILM = {"pull_off_stress": 1e5, "shear_strength": 1e5, "normal_stiffness": 1e8, "shear_stiffness": 3e7}
LABELS = ("touch", "lift", "lift", "lower", "lift", "set")


def poses(moves=LABELS):
    n = 6
    return PoseTrajectory(
        t=0.1 * np.arange(n), position=np.zeros((n, 3)), rotation=np.tile(np.eye(3), (n, 1, 1)), moves=moves
    )


def arm(joints=2, names=()):
    return Chain(links=np.tile(np.eye(4), (joints + 1, 1, 1)), revolute=(True,) * joints, names=names, source="arm")


def job(**changes):
    given = {
        "name": "job",
        "gripper": Gripper(pads=(Pad.disc("pad", PadMaterial(**FILM), 0.05),)),
        "part": Part(mass=1.0, com=[0, 0, 0.01], inertia=1e-3 * np.eye(3)),
        "trajectory": poses(),
    }
    return Job(**{**given, **changes})


def test_without_phases_all_is_carry():
    assert job().phase_map.covers("carry").all()
    assert not job().phase_map.covers("free").any()
    assert job().phase_map.gaps() == []


def test_phases_by_label_cover_every_run_of_it():
    made = job(phases=(Phase(kind="carry", moves=("lift",)),))
    np.testing.assert_array_equal(made.phase_map.covers("carry"), [False, True, True, True, True, False])
    np.testing.assert_array_equal(made.phase_map.covers("free"), [True, False, False, False, False, True])
    assert made.phase_map.gaps() == [(0, 0, False), (3, 3, True), (5, 5, False)]


def test_a_border_sample_is_in_both_phases_and_counts_as_carry():
    made = job(phases=(Phase(kind="preload", start=0.0, end=0.2), Phase(kind="carry", start=0.2, end=0.4)))
    assert made.phase_map.covers("preload")[2]
    assert made.phase_map.covers("carry")[2]
    assert made.phase_map.kinds() == ("preload", "preload", "carry", "carry", "carry", "free")


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ({"start": 0.0, "end": 0.3}, {"start": 0.2, "end": 0.4}),
        ({"start": 0.0, "end": 0.5}, {"start": 0.21, "end": 0.22}),
        ({"moves": ("lift",)}, {"moves": ("lower", "lift")}),
        ({"moves": ("lower",)}, {"start": 0.25, "end": 0.35}),
    ],
)
def test_overlaps(first, second):
    with pytest.raises(InputError, match=r"phases\[1\]: found a free phase that overlaps|covers no sample"):
        job(phases=(Phase(kind="carry", **first), Phase(kind="free", **second)))


def test_a_time_phase_may_start_at_the_last_sample_of_a_label():
    job(phases=(Phase(kind="preload", moves=("touch",)), Phase(kind="carry", start=0.0, end=0.2)))


def test_joints_are_matched_by_name():
    trajectory = JointTrajectory(t=[0.0, 1.0], q=[[1.0, 2.0]] * 2, names=("b", "a"))
    made = job(trajectory=trajectory, robot=arm(names=("a", "b")))
    np.testing.assert_array_equal(made.trajectory.q[0], [2.0, 1.0])


def test_joint_program_without_robot():
    with pytest.raises(InputError, match="a joint program without a robot"):
        job(trajectory=JointTrajectory(t=[0.0, 1.0], q=np.zeros((2, 2))))


def test_other_number_of_joints():
    with pytest.raises(InputError, match="found 2 joint columns, expected 3, the joints of arm"):
        job(trajectory=JointTrajectory(t=[0.0, 1.0], q=np.zeros((2, 2))), robot=arm(3))


@pytest.mark.parametrize(
    "changes",
    [{"joint_limits": JointLimits(speed=[1.0])}, {"stop": Stop(axis_deceleration=[1.0, 1.0, 1.0])}],
)
def test_lists_have_a_value_for_each_joint(changes):
    with pytest.raises(InputError, match="expected 2, one a joint of the robot"):
        job(robot=arm(), **changes)


@pytest.mark.parametrize("gravity", [[0, 0, -31], [np.nan, 0, 0], [0, 0]])
def test_gravity_out_of_bounds(gravity):
    with pytest.raises(InputError, match=r"job\.gravity"):
        job(gravity=gravity)


def test_jobs_stay_as_they_were():
    made = job(
        phases=(Phase(kind="carry", moves=("lift",)),),
        pick=Pick(face=np.eye(4)),
        nest=Nest(face=np.eye(4), support=[[0, 0], [1, 0], [0, 1]]),
        stop=Stop(time=0.3),
        robot=arm(),
        joint_limits=JointLimits(speed=[1.0, 2.0]),
    )
    again = pickle.loads(pickle.dumps(made))
    assert again == made == copy.deepcopy(made)
    assert hash(again) == hash(made)
    with pytest.raises(ValueError, match="read-only"):
        again.gravity[0] = 1.0


@pytest.mark.parametrize(
    "changes",
    [
        {"full_preload": 0.0},
        {"min_dwell": -1.0},
        {"overload_pressure": 1e5},
        {"overload_residual": 0.1},
        {"overload_pressure": 1e5, "overload_residual": 1.1},
        {"overload_pressure": np.nan, "overload_residual": 0.1},
        {"damping_ratio": 1.0},
        {"damping_ratio": np.nan},
        {"preload_curve": [[0.0, 0.5]]},
        {"preload_curve": [[0.0, 0.5], [0.0, 1.0]]},
        {"preload_curve": [[0.0, 0.5], [1.0, 1.5]]},
        {"preload_curve": [[0.0, np.nan], [1.0, 1.0]]},
    ],
)
def test_materials_out_of_bounds(changes):
    with pytest.raises(InputError, match="pad material"):
        PadMaterial(**FILM, **changes)


@pytest.mark.parametrize(
    "changes",
    [
        {"max_pressure": 0.0},
        {"thickness": np.nan},
        {"poissons_ratio": 0.6},
        {"poissons_ratio": np.nan},
        {"drag_area": -1},
    ],
)
def test_parts_out_of_bounds(changes):
    with pytest.raises(InputError, match=r"part\."):
        Part(mass=1.0, com=[0, 0, 0], inertia=np.eye(3), **changes)


@pytest.mark.parametrize(
    "given",
    [
        {},
        {"time": 0.0},
        {"time": np.nan},
        {"time": 1.0, "deceleration": 1.0},
        {"axis_deceleration": [1.0, 0.0]},
        {"time": 1.0, "category": 0},
        {"axis_deceleration": [1.0], "category": 1},
        {"time": 1.0, "category": 3},
    ],
)
def test_stops_that_are_none(given):
    with pytest.raises(InputError, match="stop"):
        Stop(**given)


@pytest.mark.parametrize("given", [{"hold_down": -1.0}, {"moment": np.nan}, {"support": [[0, 0], [1, 1]]}])
def test_nests_out_of_bounds(given):
    with pytest.raises(InputError, match=r"nest\."):
        Nest(face=np.eye(4), **given)
