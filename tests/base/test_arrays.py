"""Values stay as they were checked: own copies, read-only, equal and read-only after copy, deepcopy and pickle."""

import copy
import pickle
from dataclasses import FrozenInstanceError, dataclass

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.base.arrays import Value, frozen, rebuild
from gripmargin.contact.backing import Backing
from gripmargin.contact.cells import cut_pads
from gripmargin.motion.tool_motion import joint_motion


class TestFrozen:
    def test_is_an_own_read_only_copy(self):
        given = np.ones(3)
        kept = frozen(given, (3,), "x")
        given[0] = 7.0
        assert kept.tolist() == [1.0, 1.0, 1.0]
        with pytest.raises(ValueError, match="read-only"):
            kept[0] = 7.0

    def test_what_is_frozen_already_is_not_copied(self):
        kept = frozen(np.ones(3), (3,), "x")
        assert frozen(kept, (3,), "x") is kept
        assert frozen(kept[:], (3,), "x") is not kept

    @pytest.mark.parametrize("how", [np.ndarray.copy, lambda kept: np.array(kept)[:2], lambda kept: kept.tolist()])
    def test_what_somebody_else_made_is_copied_though_it_cannot_be_written_to(self, how):
        given = how(frozen(np.ones(3), (3,), "x"))
        if isinstance(given, np.ndarray):
            given.setflags(write=False)
        kept = frozen(given, (None,), "x")
        assert kept is not given
        assert not np.shares_memory(kept, given)

    def test_one_that_was_made_writable_again_is_copied(self):
        kept = frozen(np.ones(3), (3,), "x")
        kept.setflags(write=True)
        assert frozen(kept, (3,), "x") is not kept

    def test_integers_become_floats(self):
        assert frozen([1, 2], (2,), "x").dtype == np.float64

    @pytest.mark.parametrize(
        ("values", "message"),
        [
            ([1.0, 2.0], "part.com: found an array of shape (2,), expected shape (3,)"),
            (5.0, "part.com: found an array of shape (), expected shape (3,)"),
            ([[1.0, 2.0, 3.0]], "part.com: found an array of shape (1, 3), expected shape (3,)"),
            ([1.0, np.nan, 2.0], "part.com[1]: found nan, expected a finite number; remove or repair it"),
            ([1.0, 2.0, -np.inf], "part.com[2]: found -inf, expected a finite number; remove or repair it"),
            (["a", "b", "c"], "part.com: found something that is not an array of numbers, expected (3,)"),
            ([1.0, [2.0], 3.0], "part.com: found something that is not an array of numbers, expected (3,)"),
            ([1j, 0, 0], "part.com: found something that is not an array of numbers, expected (3,)"),
            (None, "part.com: found an array of shape (), expected shape (3,)"),
        ],
    )
    def test_refuses_in_full_sentences(self, values, message):
        with pytest.raises(gm.InputError) as caught:
            frozen(values, (3,), "part.com")
        assert str(caught.value) == message


def chain():
    return gm.chain_from_axes([np.eye(4)] * 2, [(0, 0, 1), (0, 1, 0)], [True, False], np.eye(4), names=["a", "b"])


def film():
    return gm.PadMaterial(
        pull_off_stress=5e4,
        shear_strength=4e4,
        normal_stiffness=1e8,
        shear_stiffness=3e7,
        preload_curve=[[0, 0], [1e4, 0.8], [5e4, 1.0]],
    )


def part():
    outline = [[-0.05, -0.05], [0.05, -0.05], [0.05, 0.05], [-0.05, 0.05]]
    return gm.Part(mass=1.0, com=[0, 0, 0.01], inertia=[1e-3, 2e-3, 2.5e-3, 1e-5, 0, 0], outline=outline)


def pads():
    at = gm.pose((0.01, 0, 0), (0.1, -0.2, 0.3))
    arrow = [[0, 0], [0.02, 0], [0.02, 0.01], [0.01, 0.004], [0, 0.01]]
    return (
        gm.Pad.rectangle("a", film(), [0.02, 0.03], at),
        gm.Pad.disc("b", film(), 0.02, gm.pose((0.05, 0, 0))),
        gm.Pad.polygon("c", film(), arrow[::-1], gm.pose((-0.05, 0, 0))),
    )


def joints():
    t = np.linspace(0, 1, 6)
    q = np.column_stack([t, t**2])
    return gm.JointTrajectory(t=t, q=q, qd=q, qdd=q, names=("a", "b"), moves=("m",) * 6, source="here")


VALUES = {
    "material": film,
    "rectangle": lambda: pads()[0],
    "disc": lambda: pads()[1],
    "polygon": lambda: pads()[2],
    "gripper": lambda: gm.Gripper(pads=pads(), cycles_since_cleaning=3),
    "part": part,
    "phase by moves": lambda: gm.Phase(kind="release", moves=["m"], release="torsion"),
    "phase by time": lambda: gm.Phase(kind="carry", start=0.0, end=1.0),
    "targets": lambda: gm.Targets(hold=3.0, peel=2.0),
    "pick": lambda: gm.Pick(face=gm.pose((0, 0, 1), (0, 0, 0.3)), flatness=1e-5),
    "nest": lambda: gm.Nest(face=np.eye(4), support=[[0, 0], [1, 0], [0, 1]]),
    "chain": chain,
    "joint trajectory": joints,
    "pose trajectory": lambda: gm.PoseTrajectory(
        t=np.arange(3.0), position=np.zeros((3, 3)), rotation=np.stack([np.eye(3)] * 3)
    ),
    "tool motion": lambda: joint_motion(chain(), joints().t, joints().q, joints().q, joints().q),
    "patch": lambda: cut_pads(pads()[:1], part())[0],
    "backing": lambda: Backing(cut_pads(pads()[1:2], part())),
    "job": lambda: gm.Job(
        name="j", gripper=gm.Gripper(pads=pads()), part=part(), trajectory=joints(), robot=chain(), gravity=(0, 0, -9.8)
    ),
}


def arrays_of(value, seen=None):
    """Every array inside a value, however deep."""
    seen = set() if seen is None else seen
    if id(value) in seen:
        return
    seen.add(id(value))
    if isinstance(value, np.ndarray):
        yield value
    elif isinstance(value, tuple | list):
        for item in value:
            yield from arrays_of(item, seen)
    elif hasattr(value, "__dataclass_fields__"):
        for name in value.__dataclass_fields__:
            yield from arrays_of(getattr(value, name), seen)


COPIES = {"copy": copy.copy, "deepcopy": copy.deepcopy, "pickle": lambda v: pickle.loads(pickle.dumps(v))}


@pytest.mark.parametrize("kind", VALUES)
class TestValues:
    @pytest.mark.parametrize("how", COPIES)
    def test_copies_are_equal_read_only_and_hash_alike(self, kind, how):
        value = VALUES[kind]()
        twin = COPIES[how](value)
        assert twin == value
        assert hash(twin) == hash(value)
        assert all(not array.flags.writeable for array in arrays_of(twin))

    def test_arrays_are_read_only(self, kind):
        assert all(not array.flags.writeable for array in arrays_of(VALUES[kind]()))

    def test_made_anew_is_equal_and_hashes_alike(self, kind):
        assert VALUES[kind]() == VALUES[kind]()
        assert hash(VALUES[kind]()) == hash(VALUES[kind]())

    def test_fields_cannot_be_set(self, kind):
        value = VALUES[kind]()
        name = next(iter(value.__dataclass_fields__))
        with pytest.raises(FrozenInstanceError):
            setattr(value, name, None)

    def test_differs_from_another_kind(self, kind):
        assert VALUES[kind]() != object()
        assert VALUES[kind]() is not None


def test_unpickling_goes_through_the_checks():
    """A pickled part whose bytes say a mass of nought is refused when it is read."""
    class_, content = part().__reduce__()[1]
    with pytest.raises(gm.InputError, match=r"part\.mass"):
        rebuild(class_, {**content, "mass": 0.0})


def test_minus_zero_equals_zero_and_hashes_alike():
    @dataclass(frozen=True, eq=False)
    class Point(Value):
        at: np.ndarray

    a, b = Point(np.array([0.0, 1.0])), Point(np.array([-0.0, 1.0]))
    assert a == b
    assert hash(a) == hash(b)
