"""What phases have to be like for a handover: in order, in one stretch, before pads that look at the face."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import BudgetError, InputError
from gripmargin.contact.activation import PadFace
from gripmargin.contact.relative import RelativeMotion
from gripmargin.motion.tool_motion import ToolMotion
from gripmargin.workcell.job import Job

MOST_TIMES = 20  # that a part is taken up and put back in one handover (no source: once or twice is a regrip)
FACING = np.deg2rad(45.0)  # angle between pads and face from which on the face is surely given wrongly


def look_at_facing(faces: Sequence[PadFace], relative: RelativeMotion, where: str) -> None:
    """Refuse a face that the pads do not look at where they are nearest to it."""
    normal = np.stack([face.patch.area * face.patch.rotation[:, 2] for face in faces]).sum(axis=0)
    area = sum(face.patch.area for face in faces)
    if np.linalg.norm(normal) < 0.5 * area:
        return  # pads that grip from several sides face nothing as a whole
    centre = np.average([face.patch.centre for face in faces], axis=0, weights=[face.patch.area for face in faces])
    nearest = int(np.argmin(np.linalg.norm(relative.rotation @ centre + relative.position, axis=1)))
    cosine = -float(relative.rotation[nearest, 2] @ normal) / float(np.linalg.norm(normal))
    angle = float(np.arccos(np.clip(cosine, -1.0, 1.0)))
    if angle > FACING:
        raise InputError(
            where,
            f"a face whose +z axis is {180.0 - np.degrees(angle):.0f} deg from where the pads look",
            "+z out of the part, towards the pads: about 180 deg",
            "turn the face by its rpy, or check the orientation of the tool in the program",
        )


def keep_to_the_budget(times: int, what: str) -> None:
    """Refuse to follow a part that is taken up and put back again and again.

    Raises:
        BudgetError: More than `MOST_TIMES` times.
    """
    if times > MOST_TIMES:
        remedy = "look at the height of the tool over the face: it may be noise"
        raise BudgetError(
            "contact of pads and part", f"pads that {what} {times} times", f"at most {MOST_TIMES}", remedy
        )


def wrong_order(job: Job, what: str, sample: int, found: str, expected: str) -> InputError:
    """Return the error of a phase in the wrong place."""
    at = f"{what} at {job.trajectory.t[sample]:.3f} s {found}"
    return InputError("program.phases", at, expected, "check which moves or times each phase has")


def relative_to(motion: ToolMotion, samples: NDArray[np.intp], face: FloatArray) -> RelativeMotion:
    """Return the tool in the frame of a face, over some samples."""
    return RelativeMotion.of(motion.t[samples], motion.rotation[samples], motion.position[samples], face)


def one_stretch(samples: NDArray[np.intp], job: Job, kind: str) -> None:
    """Refuse a phase that stops and goes on: each of its stretches would be a handover of its own."""
    gaps = np.flatnonzero(np.diff(samples) > 1)
    if gaps.size:
        t = job.trajectory.t
        raise InputError(
            "program.phases",
            f"a {kind} that ends at {t[samples[gaps[0]]]:.3f} s and goes on at {t[samples[gaps[0] + 1]]:.3f} s",
            f"one {kind} without a break for each part",
            "name its moves or times so that they follow each other; before a further pick the part has to be released",
        )
