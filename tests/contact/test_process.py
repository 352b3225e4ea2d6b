"""Forces of the process as loads, against hand figures."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.contact.process import unheld
from support.pushed import AREA, DOWN, SECOND, SIZE, lowered, push

AT = 120  # a sample of the move "insert"


def forced(case, sample=AT):
    """What all of the only force adds at a sample."""
    (more,) = case.added
    return more.wrench[:, np.flatnonzero(more.samples == sample)[0]]


@pytest.mark.parametrize(
    ("force", "lever", "edge"),
    [(20.0, 0.0, -12500.0), (20.0, SIZE / 6, 0.0), (20.0, 0.01, 6250.0), (50.0, 0.01, 15625.0)],
)
def test_what_a_push_beside_the_middle_does_at_the_far_edge(force, lever, edge):
    """-F / A + F e y / I, on 40 x 40 mm (any text on strength of materials); through the middle it is even."""
    case = work_out(lowered(push((0, 0, -force), (lever, 0, 0))))
    patch = case.whole.patches[0]
    normal = case.whole.traction_maps(patch, patch.edge)[2] @ forced(case)
    far = normal[patch.edge[:, 0] < 0]
    assert -force / AREA + force * lever * (SIZE / 2) / SECOND == pytest.approx(edge, abs=1e-9)
    np.testing.assert_allclose(far, edge, rtol=1e-9, atol=1e-6)
    if lever == 0.0:
        np.testing.assert_allclose(normal, edge, rtol=1e-12)


@pytest.mark.parametrize(("stiffness", "share"), [(None, 1.0), (64e3, 0.5)])
def test_an_overtravel_is_two_springs_in_a_row(stiffness, share):
    """0.1 mm along 40 x 40 mm at k_t = 4e7 Pa/m: K_t = 64 kN/m, 6.4 N, 4 kPa against what is rigid."""
    case = work_out(lowered(push(None, overtravel=[1e-4, 0, 0], stiffness=stiffness)))
    load = forced(case)
    np.testing.assert_allclose(load, [-6.4 * share, 0, 0, 0, 0, 0], rtol=1e-9, atol=1e-12)
    patch = case.whole.patches[0]
    shear = case.whole.traction_maps(patch, patch.edge)[0] @ load
    np.testing.assert_allclose(shear, -4000.0 * share, rtol=1e-9)


def test_pads_tilt_under_an_overtravel_beside_their_middle():
    """k A / (1 + e^2 A / I) is left of the stiffness of the pads at a lever e (a rigid plate on springs)."""
    case = work_out(lowered(push(None, (0.01, 0, 0), overtravel=[0, 0, 1e-4])))
    stiff = 1e8 * AREA / (1.0 + 0.01**2 * AREA / SECOND)
    np.testing.assert_allclose(forced(case)[2], -1e-4 * stiff, rtol=1e-9)


def test_a_force_of_the_world_turns_against_the_tool():
    angles = np.linspace(0.0, 90.0, 201)
    turned = Rotation.from_euler("z", angles[:, None], degrees=True).as_matrix() @ DOWN
    more = {"moment": [0, 0, 0.1], "frame": "world"}
    case = work_out(lowered(push((5, 0, 0), (0.01, 0, 0), **more), turned=turned))
    for sample in (100, AT, 149):
        into = turned[sample].T
        expected = np.concatenate([into @ [5, 0, 0], into @ [0, 0, 0.1] + np.cross([0.01, 0, 0], into @ [5, 0, 0])])
        np.testing.assert_allclose(forced(case, sample), expected, atol=1e-12)


def test_a_force_in_the_axes_of_the_nest():
    """The nest of a part that lies upright looks along the world's x."""
    face = np.eye(4)
    face[:3, :3] = Rotation.from_euler("y", 90, degrees=True).as_matrix()
    case = work_out(lowered(push((0, 0, 7), frame="nest"), nest=gm.Nest(face=face)))
    np.testing.assert_allclose(forced(case)[:3], DOWN.T @ [7, 0, 0], atol=1e-12)


def test_what_acts_together_is_tried_in_every_combination():
    forces = push((0, 0, 3)), push((2, 0, 0), sign="+-"), push((0, 1, 0), moves=("after",))
    case = work_out(lowered(*forces))
    found = {tuple(np.round(more.wrench[:3, 0], 9)) for more in case.added if AT in more.samples}
    assert found == {(0, 0, 3), (2, 0, 3), (-2, 0, 3), (2, 0, 0), (-2, 0, 0)}
    assert {tuple(more.wrench[:3, 0]) for more in case.added if 180 in more.samples} == {(0, 1, 0)}


def test_the_load_is_the_worst_of_them_and_only_where_they_act():
    case = work_out(lowered(push((0, 0, 3)), push((0, 0, -5))))
    np.testing.assert_allclose(case.pushed(AT)[:, 0], [0, 0, 3, 0, 0, 0], atol=1e-12)
    assert not case.pushed(slice(0, 100)).any()
    assert not case.pushed(slice(150, None)).any()


def test_where_the_part_does_not_hang_on_the_pads_a_force_is_noticed():
    phases = gm.Phase(kind="carry", moves=("down", "insert")), gm.Phase(kind="free", moves=("after",))
    job = lowered(push(moves=("insert", "after")), phases=phases)
    case = work_out(job)
    assert [sample for _, sample in unheld(job, case.airborne)] == [150]
    assert not [*unheld(lowered(push(), phases=phases), case.airborne)]
    assert len([*unheld(lowered(push(moves=("after",)), phases=phases), case.airborne)]) == 1


def test_a_ramp_takes_half_of_the_time_that_is_given_however_far_apart_the_samples_are():
    """By hand: a force from 0.951 s to 0.953 s comes in 1 ms, though it may act at samples 8 ms apart."""
    (short,) = work_out(lowered(push((0, 0, 20), start=0.951, end=0.953, shape="ramp"))).pushes
    assert short.rise == pytest.approx(1e-3)
    (labelled,) = work_out(lowered(push(shape="ramp"), t=np.linspace(0.0, 1.6, 17))).pushes  # 0.8 s to 1.1 s
    assert labelled.rise == pytest.approx(0.15)
