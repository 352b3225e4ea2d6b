"""Whatever Python hands in, what is wrong is said as of a file: where, found, expected."""

import contextlib
import inspect

import numpy as np
import pytest

import gripmargin as gm

DOWN = np.diag([1.0, -1.0, -1.0])
T = np.linspace(0.0, 0.8, 41)
S = T / 0.8
FILM = gm.PadMaterial(pull_off_stress=5e4, shear_strength=5e4, normal_stiffness=1e8, shear_stiffness=3.3e7)
PAD = gm.Pad.rectangle("pad", FILM, [0.05, 0.05])
LIFT = {
    "t": T,
    "position": np.column_stack([0 * T, 0 * T, 0.2 * (10 * S**3 - 15 * S**4 + 6 * S**5)]),
    "rotation": np.tile(DOWN, (T.size, 1, 1)),
}
PART = {"mass": 0.4, "com": [0, 0, 0.002], "inertia": [3e-4, 3e-4, 6e-4, 0, 0, 0]}
CARRY = {"trajectory": gm.PoseTrajectory(**LIFT), "gripper": gm.Gripper(pads=(PAD,)), "part": gm.Part(**PART)}
MADE = {
    gm.check: CARRY,
    gm.PadMaterial: {name: getattr(FILM, name) for name in ("pull_off_stress", "shear_strength")}
    | {"normal_stiffness": 1e8, "shear_stiffness": 3.3e7},
    gm.Gripper: {"pads": (PAD,)},
    gm.Part: PART,
    gm.Phase: {"kind": "carry", "start": 0.0, "end": 1.0},
    gm.Pick: {"face": np.eye(4)},
    gm.Nest: {"face": np.eye(4)},
    gm.Targets: {},
    gm.Stop: {"time": 0.3},
    gm.Flange: {"payload": 3.0},
    gm.JointLimits: {},
    gm.PoseTrajectory: LIFT,
    gm.JointTrajectory: {"t": T, "q": np.zeros((T.size, 2))},
    gm.Pad.rectangle: {"name": "pad", "material": FILM, "size": [0.05, 0.05]},
    gm.Pad.disc: {"name": "pad", "material": FILM, "diameter": 0.05},
}
ODD = [None, "x", "0.4 kg", 3, -1, 1e300, True, b"x", [], [1, 2], ["x"], {}, {"a": 1}, object(), np.zeros(3), np.nan]


@pytest.mark.parametrize("make", MADE, ids=lambda make: make.__qualname__)
def test_any_value_is_taken_or_refused_by_name(make):
    names = [*inspect.signature(make).parameters]
    for name in names:
        for value in ODD:
            with contextlib.suppress(gm.GripmarginError):
                make(**{**MADE[make], name: value})


@pytest.mark.parametrize("name", ["check_file", "check_job", "tune", "tune_file", "read_job", "read_trajectory"])
def test_a_path_or_a_job_is_expected(name):
    for value in (None, 3, b"x", [], {}, object()):
        with pytest.raises(gm.InputError, match=r"^(path|job): found"):
            getattr(gm, name)(value)


@pytest.mark.parametrize(
    ("value", "said"),
    [
        ("job.toml", "paths: found one path, expected a list of paths; put it in [ ]"),
        (3, "paths: found 3, expected a list of paths"),
        (["job.toml", None], r"paths[1]: found nothing (None), expected a str or PathLike"),
    ],
)
def test_many_paths(value, said):
    with pytest.raises(gm.InputError) as caught:
        gm.check_files(value)
    assert str(caught.value) == said


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (
            lambda: gm.Part(**{**PART, "mass": "400 g"}),
            "part.mass: found '400 g', expected a number [kg]; values in Python are numbers in SI, without a unit",
        ),
        (
            lambda: gm.Part(**{**PART, "mass": True}),
            "part.mass: found True, expected a number [kg]; values in Python are numbers in SI, without a unit",
        ),
        (lambda: gm.Gripper(pads=PAD), "gripper.pads: found one Pad, expected a list of Pad; put it in [ ]"),
        (lambda: gm.check(**{**CARRY, "part": PART}), "job.part: found a dict, expected a Part"),
        (
            lambda: gm.check(**{**CARRY, "trajectory": [LIFT]}),
            "program.trajectory: found a list, expected a JointTrajectory or PoseTrajectory",
        ),
        (lambda: gm.check(**CARRY, accept="weight"), "job.accept[0]: found 'weight', expected density or inertia"),
    ],
)
def test_messages(make, said):
    with pytest.raises(gm.InputError) as caught:
        make()
    assert str(caught.value).startswith(said)
