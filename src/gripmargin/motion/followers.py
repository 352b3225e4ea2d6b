"""Values of joints that follow others, where a program does not give them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.motion.chain import Chain, Follower
from gripmargin.motion.trajectory import JointTrajectory


def joint_counts(robot: Chain) -> tuple[int, ...]:
    """Return how many columns a program without joint names may have: all joints, or those that follow no other."""
    inside = all(follower.leader in robot.names for follower in robot.followers)
    return (robot.joints, robot.joints - len(robot.followers)) if inside and robot.followers else (robot.joints,)


def completed(trajectory: JointTrajectory, robot: Chain) -> JointTrajectory:
    """Return a trajectory with the columns of joints that follow others, worked out where it does not give them.

    Raises:
        InputError: The joint that one of them follows is not given.
    """
    if not robot.followers:
        return trajectory
    names = trajectory.names
    if not names:
        free = [k for k in range(robot.joints) if k not in {follower.joint for follower in robot.followers}]
        if trajectory.q.shape[1] != len(free) or len(joint_counts(robot)) == 1:
            return trajectory
        names = tuple(robot.names[k] for k in free)
    missing = [follower for follower in robot.followers if robot.names[follower.joint] not in names]
    for follower in missing:
        if follower.leader not in names:
            found = ", ".join(names)
            due = f"the joint '{follower.leader}', which '{robot.names[follower.joint]}' follows"
            raise InputError(f"{trajectory.source} joint names", found, due)
    if not missing:
        return trajectory
    columns = [names.index(follower.leader) for follower in missing]
    factor = np.array([follower.factor for follower in missing])
    offset = np.array([follower.offset for follower in missing])

    def widened(values: FloatArray, added: FloatArray | float) -> FloatArray:
        return np.column_stack([values, values[:, columns] * factor + added])

    whole = replace(
        trajectory,
        q=widened(trajectory.q, offset),
        qd=None if trajectory.qd is None else widened(trajectory.qd, 0.0),
        qdd=None if trajectory.qdd is None else widened(trajectory.qdd, 0.0),
        names=(*names, *(robot.names[follower.joint] for follower in missing)),
        notes=(*trajectory.notes, *(_said(robot.names[each.joint], each) for each in missing)),
    )
    return whole if trajectory.names else replace(whole.in_order_of(robot.names), names=())


def _said(name: str, follower: Follower) -> str:
    law = f"{follower.factor:g} times it" + (f" and {follower.offset:g} more" if follower.offset else "")
    return f"The joint '{name}' follows '{follower.leader}' ({law}): it is worked out."
