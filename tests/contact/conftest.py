"""Pads pressed on a face and taken off it: what several tests of the contact simulation need."""

import numpy as np
import pytest
import shapely
from scipy.spatial.transform import Rotation

import gripmargin as gm
from gripmargin.contact.activation import ActivationLaw, PadFace
from gripmargin.contact.cells import Patch, quadrature
from gripmargin.contact.relative import RelativeMotion

FACE_DOWN = np.diag([1.0, -1.0, -1.0])  # a tool that looks straight at the face


@pytest.fixture(scope="session")
def pad_face():
    """A pad as the simulation takes it, by default 80 x 50 mm, its cells as fine as wanted."""

    def make(*, size=(0.08, 0.05), diameter=None, across=12, at=None, gap=0.0, law=None, **changes):
        values = {"pull_off_stress": 9e4, "shear_strength": 6e4, "normal_stiffness": 1e8, "shear_stiffness": 3.3e7}
        material = gm.PadMaterial(**{**values, **changes})
        if diameter is None:
            pad = gm.Pad.rectangle("pad", material, size, at)
        else:
            pad = gm.Pad.disc("pad", material, diameter, at)
        points, areas = quadrature(shapely.Polygon(pad.outline), across)
        place = pad.pose_in_tool
        patch = Patch(
            pad=pad,
            points=points @ place[:3, :2].T + place[:3, 3],
            areas=areas,
            edge=pad.edge @ place[:3, :2].T + place[:3, 3],
            share=1.0,
        )
        return PadFace(
            patch=patch,
            pull_off_stress=material.limiting_pull_off_stress,
            shear_strength=material.shear_strength,
            law=law or ActivationLaw.of(material),
            gap=np.asarray(gap, dtype=float),
        )

    return make


@pytest.fixture(scope="session")
def move():
    """A motion of a tool over a face: way of its origin, and a turn about a point, over time; all in face axes."""

    def make(t, *, x=0.0, y=0.0, z=0.0, turn=(0.0, 0.0, 0.0), about=(0.0, 0.0, 0.0)):
        t = np.asarray(t, dtype=float)
        way = np.stack([np.broadcast_to(np.asarray(a, dtype=float), t.shape) for a in (x, y, z)], axis=1)
        rotvec = np.array(np.broadcast_to(np.asarray(turn, dtype=float), (t.size, 3)))
        turned = Rotation.from_rotvec(rotvec).as_matrix()
        about = np.asarray(about, dtype=float)
        return RelativeMotion(t=t, rotation=turned @ FACE_DOWN, position=about - turned @ about + way)

    return make


@pytest.fixture(scope="session")
def full():
    """A full bond of pads."""
    return lambda *faces: [np.ones(face.patch.areas.size) for face in faces]
