"""Pads that have to look at a face where they come to it."""

import pytest

from gripmargin.base.errors import InputError
from gripmargin.contact.handover_phases import look_at_facing


def test_what_counts_is_the_pose_nearest_to_the_face(pad_face, move):
    """Turned by 60 degrees half a metre away and straight on the face, or the other way round."""
    face, turns = pad_face(), [[0, 1.05, 0], [0, 0, 0]]
    look_at_facing([face], move([0, 1], z=[0.5, 0.0], turn=turns), "pick.face")
    with pytest.raises(InputError, match="pick"):
        look_at_facing([face], move([0, 1], z=[0.0, 0.5], turn=turns), "pick.face")
