"""What another station carries, over another stretch of the program and seen from another frame of the tool."""

import numpy as np

import gripmargin as gm
from gripmargin.kernels.wrench import mass_matrix
from gripmargin.workcell.aboard import Aboard

RNG = np.random.default_rng(5)
MOMENTS = RNG.normal(size=(3, 3))
FRAME = gm.pose((0.1, -0.2, 0.05), (0.3, -1.2, 2.0))


def made():
    """Eight samples from sample 20 of a program on: hangs from the fourth, pressed at the second and third."""
    contact = np.zeros((6, 8))
    contact[:, 1:3] = RNG.normal(size=(6, 2))
    push = np.array([5, 6]), RNG.normal(size=(6, 2)), RNG.normal(size=(6, 3)), RNG.normal(size=(3, 2))
    return Aboard(
        mass=0.7,
        com=np.array([0.01, 0.02, -0.03]),
        inertia=MOMENTS @ MOMENTS.T,
        hangs=np.arange(8) > 2,
        contact=contact,
        sure=0.5 * contact,
        at=np.array([1, 2, 2]),
        instants=RNG.normal(size=(6, 3)),
        pushes=(push,),
        unfollowed="release",
    )


def test_it_is_moved_to_the_samples_of_another_stretch():
    own = made()
    seen = own.over(18, 24, 20, "2 cover on B")  # of which it knows 20 to 24: its first five
    assert (seen.hold, seen.unfollowed, seen.hangs.size) == ("2 cover on B", "release", 7)
    assert np.flatnonzero(seen.hangs).tolist() == [5, 6]
    np.testing.assert_array_equal(seen.contact[:, 3:5], own.contact[:, 1:3])
    np.testing.assert_array_equal(seen.sure[:, 3:5], own.sure[:, 1:3])
    assert np.flatnonzero(seen.contact.any(axis=0)).tolist() == [3, 4]
    assert seen.at.tolist() == [3, 4, 4]
    later = own.over(22, 30, 20, "")  # which begins with its third
    assert later.at.tolist() == [0, 0]
    np.testing.assert_array_equal(later.instants, own.instants[:, 1:])
    assert later.pushes[0][0].tolist() == [3, 4]
    assert own.over(21, 25, 20, "").pushes[0][0].tolist() == [4]
    assert not own.over(28, 30, 20, "").hangs.any()


def test_power_and_kinetic_energy_do_not_depend_on_the_frame():
    """Whatever the tool does, loads do the same work at it and the part has the same energy (any text on mechanics)."""
    own = made()
    seen = own.seen_from(FRAME)
    twist = RNG.normal(size=6)  # of the tool, at the frame in which it is seen
    turn, place = FRAME[:3, :3], FRAME[:3, 3]
    there = np.concatenate([turn.T @ (twist[:3] + np.cross(twist[3:], place)), turn.T @ twist[3:]])
    loads = ("contact", "sure", "instants")
    for name in loads:
        np.testing.assert_allclose(twist @ getattr(seen, name), there @ getattr(own, name), atol=1e-13)
    for moved, given in zip(seen.pushes[0][1:3], own.pushes[0][1:3], strict=True):
        np.testing.assert_allclose(twist @ moved, there @ given, atol=1e-13)
    energies = [v @ mass_matrix(body.mass, body.com, body.inertia) @ v for v, body in ((twist, seen), (there, own))]
    np.testing.assert_allclose(*energies, rtol=1e-12)
