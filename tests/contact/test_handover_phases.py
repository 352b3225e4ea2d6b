"""Pads that have to look at a face where they come to it."""

from contextlib import nullcontext

import numpy as np
import pytest

from gripmargin.base.errors import InputError
from gripmargin.contact.handover_phases import look_at_facing


def test_what_counts_is_the_pose_nearest_to_the_face(pad_face, move):
    """Turned by 60 degrees half a metre away and straight on the face, or the other way round."""
    face, turns = pad_face(), [[0, 1.05, 0], [0, 0, 0]]
    look_at_facing([face], move([0, 1], z=[0.5, 0.0], turn=turns), "pick.face")
    with pytest.raises(InputError, match="pick"):
        look_at_facing([face], move([0, 1], z=[0.0, 0.5], turn=turns), "pick.face")


@pytest.mark.parametrize(("degrees", "looks"), [(44.0, True), (46.0, False)])
def test_pads_that_lean_by_less_than_half_a_right_angle_look_at_the_face(pad_face, move, degrees, looks):
    """Else they are nearer to looking along it (no source)."""
    leans = move([0, 1], z=[0.0, 0.5], turn=[[0, np.deg2rad(degrees), 0], [0, 0, 0]])
    with nullcontext() if looks else pytest.raises(InputError, match="where the pads look"):
        look_at_facing([pad_face()], leans, "pick.face")
