"""A plate on a bed: flat beneath its pads or not, and what pads that rise may pull, against closed forms."""

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.contact.activation import pad_faces
from gripmargin.contact.cells import cut_pads
from gripmargin.contact.lying import INSIDE, highest_tension, lies_flat
from gripmargin.contact.relative import RelativeMotion
from gripmargin.contact.simulation import simulate

FILM = gm.PadMaterial(
    pull_off_stress=30e3, shear_strength=30e3, normal_stiffness=1e8, shear_stiffness=4e7, full_preload=1e4
)
DOWN = np.diag([1.0, -1.0, -1.0])


def box(a, b):
    return np.array([[-a, -b], [a, -b], [a, b], [-a, b]]) / 2


def plate(a=0.2, b=0.1):
    com, inertia = gm.uniform_plate(0.04, box(a, b), 8e-4)
    return gm.Part(mass=0.04, com=com, inertia=inertia, outline=box(a, b), thickness=8e-4, youngs_modulus=70e9)


def pad(x=0.0, y=0.0):
    return gm.Pad.rectangle("pad", FILM, [0.03, 0.03], gm.pose((x, y, 0)))


@pytest.mark.parametrize(
    ("bed", "at", "flat"),
    [
        (box(0.2, 0.1), (0.0, 0.0), True),
        (box(0.06, 0.06), (0.0, 0.0), False),  # overhangs by 70 mm, and would lift off 99 mm inside
        (box(0.19, 0.09), (0.0, 0.0), True),  # overhangs by 5 mm, sqrt(50) at a corner
        (box(0.19, 0.09), (0.07, 0.0), False),  # 10 mm from the edge, less than twice that
        (box(0.19, 0.09), (0.06, 0.0), True),
        (box(0.19, 0.09), (0.09, 0.0), False),  # partly beside it
    ],
)
def test_where_pads_find_it_flat(bed, at, flat):
    part = plate()
    assert (
        lies_flat(part, cut_pads([pad(*at)], part), bed + np.array([0.3, 0.0]), DOWN, np.array([0.3, 0.0, 0.0])) is flat
    )


@pytest.mark.parametrize(
    ("at", "flat"),
    [((0.05, 0.02, -0.004), True), ((0.05, 0.02, 0.004), False), ((0.098, 0.0, -0.004), False)],
)
def test_components_stand_on_it_or_hang_beyond_it(at, flat):
    """On the side of the pads over the bed; beneath the plate; beyond the bed, which it overhangs by 5 mm."""
    load = [gm.Component(mass=0.01, at=at, size=[0.002, 0.002])]
    com, inertia = gm.uniform_plate(0.05, box(0.2, 0.1), 8e-4, load)
    given = {"outline": box(0.2, 0.1), "thickness": 8e-4, "youngs_modulus": 70e9, "components": load}
    part = gm.Part(mass=0.05, com=com, inertia=inertia, **given)
    assert lies_flat(part, cut_pads([pad()], part), box(0.19, 0.1), DOWN, np.zeros(3)) is flat


def test_what_overhangs_lifts_a_strip_inside_as_far_as_is_kept_clear():
    """A heavy strip, 100 mm of it on a table and 30 mm beyond, where the table only presses.

    It leaves the table ``sqrt(2)`` times 30 mm inside its edge; pads have to be twice as far.
    """
    n, h = 131, 1e-3
    x = h * np.arange(n) - 0.1
    curved = np.diff(np.eye(n), 2, axis=0) / h**2
    stiff, weight = h * curved.T @ curved, np.full(n, 10.0 * h)
    down = x <= 0.0
    for _ in range(200):  # nodes leave the table where it would pull, and stay on it where they would go below
        w = np.zeros(n)
        w[~down] = np.linalg.solve(stiff[np.ix_(~down, ~down)], -weight[~down])
        presses = stiff @ w + weight
        better = (down & (presses > 0)) | (~down & (w < 0) & (x <= 0))
        if (better == down).all():
            break
        down = better
    lifted = x[(x < 0) & ~down].min()
    assert -lifted == pytest.approx(np.sqrt(2) * 0.03, rel=0.15)
    assert -lifted < INSIDE * 0.03


def test_tension_of_places_that_have_risen():
    """Pressed 0.1 mm deep and raised by 0.2 mm above the face: kn times that, up to what holds."""
    part = plate()
    faces = pad_faces(cut_pads([pad()], part), part, gm.Gripper(pads=(pad(),)))
    height = np.array([0.01, 0.0, -1e-4, 0.0, 1e-4, 2e-4, 4e-4])
    t = np.arange(height.size, dtype=float)
    motion = RelativeMotion(
        t=t, rotation=np.repeat(DOWN[None], t.size, axis=0), position=np.column_stack([0 * t, 0 * t, height])
    )
    found = highest_tension(faces, motion, simulate(faces, motion))
    assert found == pytest.approx([0, 0, 0, 0, 1e4, 2e4, 3e4], abs=1e-6)
