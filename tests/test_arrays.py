"""Values stay as they were checked: through aliasing, copies, pickles and attempts to write."""

import copy
import pickle

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.arrays import frozen
from gripmargin.errors import InputError, InputErrors

FILM = gm.PadMaterial(pull_off_stress=5e4, shear_strength=5e4, normal_stiffness=1e8, shear_stiffness=3e7)
VALUES = [
    FILM,
    gm.Pad.disc("pad", FILM, 0.02),
    gm.Gripper(pads=(gm.Pad.rectangle("pad", FILM, [0.02, 0.03]),)),
    gm.Part(mass=1.0, com=[0, 0, 0.01], inertia=1e-3 * np.eye(3), outline=[[0, 0], [1, 0], [0, 1]]),
    gm.Pick(face=gm.pose()),
    gm.Targets(),
    gm.Phase(kind="carry", moves=("lift",)),
    gm.JointTrajectory(t=[0, 1], q=[[0.0], [1.0]], moves=("a", "b")),
    gm.Chain(links=np.stack([np.eye(4)] * 2), revolute=(True,)),
]


@pytest.mark.parametrize("value", VALUES, ids=lambda value: type(value).__name__)
@pytest.mark.parametrize("again", [copy.copy, copy.deepcopy, lambda value: pickle.loads(pickle.dumps(value))])
def test_copies_are_equal_and_as_frozen(value, again):
    other = again(value)
    assert other == value
    assert hash(other) == hash(value)
    arrays = [a for a in vars(other).values() if isinstance(a, np.ndarray)]
    assert not any(a.flags.writeable for a in arrays)


def test_an_array_handed_in_is_not_an_alias():
    outline = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
    pad = gm.Pad.polygon("pad", FILM, outline)
    outline[0] = 99.0
    assert pad.outline.max() == 1.0
    with pytest.raises(ValueError, match="read-only"):
        pad.outline[0, 0] = 5.0


def test_equal_means_equal_content():
    assert gm.Pad.disc("pad", FILM, 0.02) != gm.Pad.disc("pad", FILM, 0.021)
    assert gm.Pad.disc("pad", FILM, 0.02) != FILM


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ([[1.0, np.nan, 2.0]], r"force\[0, 1\]: found nan, expected a finite number"),
        ([[1.0, np.inf, 2.0]], r"force\[0, 1\]: found inf"),
        ([1.0, 2.0, 3.0], r"force: found an array of shape \(3,\), expected shape \(n, 3\)"),
        ([["a", "b", "c"]], "force: found something that is not an array of numbers"),
        ([[1, 2], [1, 2, 3]], "force: found something that is not an array of numbers"),
        ([[1j, 0, 0]], "force: found something that is not an array of numbers"),
    ],
)
@pytest.mark.filterwarnings("ignore::numpy.exceptions.ComplexWarning")
def test_frozen_refuses(values, message):
    with pytest.raises(InputError, match=message):
        frozen(values, (None, 3), "force")


def test_errors_survive_pickling_with_their_fields():
    error = InputError("here", "this", "that", "do so")
    for found in (error, InputErrors([error, InputError("there", "a", "b")])):
        again = pickle.loads(pickle.dumps(found))
        assert (str(again), again.where, again.remedy) == (str(found), "here", "do so")
