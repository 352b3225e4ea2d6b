"""What a motion program is to the checker: times with joint values or with poses of the tool frame."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import groupby
from typing import Any, ClassVar, Literal, NamedTuple, Self, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gripmargin.base.arrays import FloatArray, Value, first_wrong, frozen, sealed
from gripmargin.base.errors import InputError
from gripmargin.base.given import of_class, shown, texts
from gripmargin.base.poses import FARTHEST, QUATERNION_TOLERANCE, as_pose, rotation_from_quaternion
from gripmargin.base.stored import differences_of, numbered
from gripmargin.motion.turn_error import turn_error

RESOLVED = 0.0101  # [s] steps up to which samples are taken to follow every change of acceleration
MAX_SAMPLES = 5_000_000  # that are read from text or messages, or put in: those are made in memory
LATEST = 1e12  # [s]: clocks count from 1970 or later
CLOSEST = 1e-12  # [s] between samples: no clock tells less, and rates by it stay within floats
FASTEST = 1e15  # [rad/s, m/s, per s]: no joint does that, and products of a few such figures stay within floats
Interpolation = Literal["samples", "linear", "cubic", "quintic"]
# what files call velocity and acceleration of poses, component by component
POSE_RATES = ("xd", "yd", "zd", "wx", "wy", "wz"), ("xdd", "ydd", "zdd", "wxd", "wyd", "wzd")


class Filling(NamedTuple):
    """Samples put in between those of a program; see `gripmargin.motion.between`.

    Attributes:
        given: Which samples are the program's own, rising, shape (m,).
        missed: By how much accelerations may exceed the straight lines through the samples next to each, shape
            (n, joints) or that of the acceleration of poses; None: nowhere.
    """

    given: NDArray[np.intp]
    missed: FloatArray | None


class Timing(NamedTuple):
    """How well the times of a polled log are known; see `gripmargin.motion.polled`.

    Attributes:
        stretched: Part by which all times may be too long or too short.
        late: Time by which each sample may be older than its stamp, beyond what all are [s].
    """

    stretched: float = 0.0
    late: float = 0.0

    @property
    def counted(self) -> bool:
        """Whether the times are those of the controller, by counting."""
        return self.stretched > 0.0


@dataclass(frozen=True, eq=False)
class _Samples(Value):
    PLACES: ClassVar[tuple[str, ...]]  # fields with what is given at each sample
    RATES: ClassVar[tuple[str, str]]  # and how fast it changes, once and twice

    t: FloatArray
    moves: tuple[str, ...] | None = None
    source: str = "trajectory"
    notes: tuple[str, ...] = field(default=(), kw_only=True)
    filling: Filling | None = field(default=None, repr=False, kw_only=True)
    timing: Timing | None = field(default=None, repr=False, kw_only=True)
    stamp: int = field(default=0, repr=False, kw_only=True)

    def _check_times(self) -> int:
        t = frozen(self.t, (None,), f"{self.source} t", most=LATEST)
        if t.size < 2:
            raise InputError(self.source, f"{t.size} samples", "at least 2")
        steps = differences_of(t)
        if (found := first_wrong(steps, lambda some: some <= 0)) is not None:
            i = found[0]
            what = "a time that repeats" if steps[i] == 0 else "a time that goes back"
            raise InputError(
                f"{self.source} sample {i + 1}",
                f"{what}: {t[i]:.9g} s, then {t[i + 1]:.9g} s",
                "times that increase",
                "remove the sample or repair its time",
            )
        if steps.min() < CLOSEST:
            i = int(np.argmin(steps))
            close, due = f"{steps[i]:.2g} s since the sample before", f"{CLOSEST:g} s or more"
            raise InputError(f"{self.source} sample {i + 1}", close, due, "check the unit of the times")
        object.__setattr__(self, "t", t)
        object.__setattr__(self, "notes", texts(self.notes, f"{self.source} notes"))
        of_class(self.stamp, int, f"{self.source} stamp")
        if self.filling is not None:
            of_class(self.filling, Filling, f"{self.source} filling", "give none")
        if self.timing is not None:
            of_class(self.timing, Timing, f"{self.source} timing", "give none")
        if self.moves is not None:
            moves = texts(self.moves, f"{self.source} moves")
            if len(moves) != t.size:
                raise InputError(f"{self.source} moves", f"{len(moves)} labels", f"{t.size}, one a sample")
            object.__setattr__(self, "moves", moves)
        if self.filling is not None and self.filling.given[-1] != t.size - 1:
            raise InputError(
                f"{self.source} filling", "samples put in of another program", "those of this one", "give none"
            )
        return int(t.size)

    def _check_rates(self, shape: tuple[int, ...], words: tuple[str, str]) -> None:
        for name in self.RATES:
            rates = getattr(self, name)
            if rates is not None:
                object.__setattr__(self, name, frozen(rates, shape, f"{self.source} {name}", most=FASTEST))
        speeds, accelerations = self.rates
        if accelerations is not None and speeds is None:
            raise InputError(self.source, f"{words[1]} without {words[0]}", "both or neither")

    @property
    def rates(self) -> tuple[FloatArray | None, FloatArray | None]:
        """Speeds and accelerations at the samples, None where they are not given."""
        first, second = self.RATES
        return getattr(self, first), getattr(self, second)

    def taken(self, samples: NDArray[Any], *, t: FloatArray | None = None) -> Self:
        """Return some of the samples as a program of its own.

        Args:
            samples: Indices or a mask.
            t: Their times [s]; None: those they have.
        """
        columns = {n: row[samples] for n in (*self.PLACES, *self.RATES) if (row := getattr(self, n)) is not None}
        moves = None if self.moves is None else tuple(self.moves[i] for i in np.arange(self.samples)[samples])
        return replace(self, t=self.t[samples] if t is None else t, moves=moves, filling=None, **columns)

    @property
    def rows(self) -> NDArray[np.intp]:
        """Which samples the program gives, and were not put in."""
        return numbered(self.samples) if self.filling is None else self.filling.given

    @property
    def own(self) -> tuple[Self, NDArray[np.intp]]:
        """The trajectory without samples that were put in, and which of its samples these are."""
        if self.filling is None:
            return self, self.rows
        if self.rows.size == self.samples:
            return replace(self, filling=None), self.rows
        return self.taken(self.rows), self.rows

    @property
    def samples(self) -> int:
        """Number of samples."""
        return int(self.t.size)

    def move_at(self, sample: int) -> str | None:
        """Return the label of the move that a sample belongs to, None where there are no labels."""
        return self.moves[sample] if self.moves is not None else None

    def runs(self) -> list[tuple[str, int, int]]:
        """Return the moves in order as (label, first sample, last sample)."""
        if self.moves is None:
            return []
        found = []
        for label, run in groupby(range(self.samples), key=self.moves.__getitem__):
            members = list(run)
            found.append((label, members[0], members[-1]))
        return found


@dataclass(frozen=True, eq=False)
class JointTrajectory(_Samples):
    """Joint values over time.

    Attributes:
        t: Times [s], increasing, shape (n,).
        q: Joint positions [rad or m], shape (n, joints).
        qd: Joint speeds [rad/s or m/s], shape (n, joints), or None: they are estimated.
        qdd: Joint accelerations [rad/s^2 or m/s^2], shape (n, joints), or None: they are estimated.
        names: Joint names by column; empty: columns are in the robot's order.
        moves: A label for each sample, or None.
        source: Where it came from, for messages.
        notes: How its file was understood, in sentences for the report.
        interpolation: What the robot does between the samples: "samples" says they are dense enough not to
            matter; "linear" says they are all a controller gets and it moves in straight lines of joint space;
            "cubic" and "quintic" say the samples were taken from such a controller's moves.
        filling: Where samples were put in between those given.
        timing: How well the times of a polled log are known.
        stamp: What time 0 is by the clock of a recording [ns since 1970]; 0: it is not known.

    Raises:
        InputError: Shapes that do not agree, NaN, times that repeat or go back.
    """

    PLACES: ClassVar = ("q",)
    RATES: ClassVar = ("qd", "qdd")

    q: FloatArray = None  # type: ignore[assignment]
    qd: FloatArray | None = None
    qdd: FloatArray | None = None
    names: tuple[str, ...] = ()
    interpolation: Interpolation = "samples"

    def __post_init__(self) -> None:
        n = self._check_times()
        if not isinstance(self.interpolation, str) or self.interpolation not in get_args(Interpolation):
            raise InputError(
                f"{self.source} interpolation",
                shown(self.interpolation),
                " or ".join(get_args(Interpolation)),
            )
        q = frozen(self.q, (n, None), f"{self.source} q", most=FARTHEST)
        object.__setattr__(self, "q", q)
        self._check_rates(q.shape, ("joint speeds", "joint accelerations"))
        names = texts(self.names, f"{self.source} names")
        if names and len(names) != q.shape[1]:
            raise InputError(f"{self.source} names", f"{len(names)} names", f"{q.shape[1]}, one a column")
        if len(set(names)) != len(names):
            raise InputError(f"{self.source} names", "a joint name that repeats", "each joint once")
        object.__setattr__(self, "names", names)

    @classmethod
    def from_toolbox(cls, trajectory: Any, *, duration: float, moves: Iterable[str] | None = None) -> Self:
        """Take a joint trajectory object of the Robotics Toolbox (``jtraj``, ``mtraj``, ``mstraj``).

        The toolbox gives rates per unit of its own time, which is 0 to 1 over a ``jtraj`` made with a
        number of steps whatever its ``t`` says; only positions are therefore taken, and the rates are
        estimated from them over the duration that you state.

        Args:
            trajectory: Object with ``q`` of shape (n, joints).
            duration: Time from the first to the last sample [s].
            moves: A label for each sample.
        """
        positions = frozen(np.atleast_2d(trajectory.q), (None, None), "toolbox trajectory q")
        if not (np.isfinite(duration) and duration > 0):
            raise InputError("duration", f"{duration}", "a time above 0 [s]")
        labels = None if moves is None else tuple(moves)
        return cls(
            t=np.linspace(0.0, duration, len(positions)),
            q=positions,
            moves=labels,
            source="toolbox trajectory",
        )

    def in_order_of(self, names: Sequence[str]) -> Self:
        """Return the trajectory with its columns in the order of the given joint names.

        Columns of joints that are not asked for are left out. A trajectory without names is returned as it is.

        Raises:
            InputError: A joint asked for is missing.
        """
        if not self.names or tuple(names) == self.names:
            return self
        missing = [name for name in names if name not in self.names]
        if missing:
            raise InputError(
                f"{self.source} joint names",
                ", ".join(self.names),
                f"the robot's joints {', '.join(names)} (missing: {', '.join(missing)})",
                "name the robot's joints in the job ([robot] joint_names) or repair the names in the file",
            )
        columns = [self.names.index(name) for name in names]
        return replace(
            self,
            q=self.q[:, columns],
            qd=None if self.qd is None else self.qd[:, columns],
            qdd=None if self.qdd is None else self.qdd[:, columns],
            names=tuple(names),
        )


@dataclass(frozen=True, eq=False)
class PoseTrajectory(_Samples):
    """Poses of the tool frame in the world over time.

    Attributes:
        t: Times [s], increasing, shape (n,).
        position: Tool-frame origin in the world [m], shape (n, 3).
        rotation: Tool axes in the world as columns, shape (n, 3, 3).
        velocity: Of the tool-frame origin [m/s], then angular [rad/s], both in world axes, shape (n, 6), or None: it is
            estimated, as the acceleration is.
        acceleration: What the velocity changes by: of the tool-frame origin as a point that moves [m/s^2], then angular
            [rad/s^2], both in world axes, shape (n, 6); None where the velocity is.
        turn_error: How far the orientation may be off about each tool axis by the digits it is written in [rad], shape
            (3,); 0: that is not known, and nothing is taken for rounding.
        moves: A label for each sample, or None.
        source: Where it came from, for messages.
        notes: How its file was understood, in sentences for the report.
        filling: Where samples were put in between those given.
        timing: How well the times of a polled log are known.
        stamp: What time 0 is by the clock of a recording [ns since 1970]; 0: it is not known.

    Raises:
        InputError: Shapes that do not agree, NaN, times that repeat or go back, a matrix that is no rotation, or
            velocities without accelerations.
    """

    PLACES: ClassVar = ("position", "rotation")
    RATES: ClassVar = ("velocity", "acceleration")

    position: FloatArray = None  # type: ignore[assignment]
    rotation: FloatArray = None  # type: ignore[assignment]
    velocity: FloatArray | None = None
    acceleration: FloatArray | None = None
    turn_error: FloatArray = field(default=(0.0, 0.0, 0.0), repr=False, kw_only=True)  # type: ignore[arg-type]

    def __post_init__(self) -> None:
        n = self._check_times()
        object.__setattr__(self, "turn_error", frozen(self.turn_error, (3,), f"{self.source} turn_error"))
        object.__setattr__(self, "position", frozen(self.position, (n, 3), f"{self.source} position", most=FARTHEST))
        rotation = frozen(self.rotation, (n, 3, 3), f"{self.source} rotation")
        if (found := first_wrong(rotation, _no_rotation)) is not None:
            where = f"{self.source} rotation of sample {found[0]}"
            raise InputError(where, "a matrix that is no rotation", "a rotation")
        object.__setattr__(self, "rotation", rotation)
        self._check_rates((n, 6), ("velocities", "accelerations"))
        if self.velocity is not None and self.acceleration is None:
            remedy = "add them, or leave the velocities out: both are then estimated"
            raise InputError(self.source, "velocities of poses without accelerations", "both or neither", remedy)

    @classmethod
    def from_quaternions(
        cls,
        t: ArrayLike,
        position: ArrayLike,
        xyzw: ArrayLike,
        *,
        moves: Iterable[str] | None = None,
        source: str = "trajectory",
    ) -> Self:
        """Take orientations as unit quaternions, scalar last, shape (n, 4).

        Raises:
            InputError: A quaternion further than 0.01 from unit length.
        """
        quaternions = frozen(xyzw, (None, 4), f"{source} quaternion")
        length = np.linalg.norm(quaternions, axis=1)
        wrong = np.abs(length - 1.0) > QUATERNION_TOLERANCE
        if wrong.any():
            i = int(np.argmax(wrong))
            raise InputError(
                f"{source} sample {i}",
                f"a quaternion (x, y, z, w) = {quaternions[i].tolist()} of length {length[i]:.4g}",
                "unit length",
                "check the columns and their order: qx, qy, qz, qw",
            )
        return cls(
            t=np.asarray(t, dtype=np.float64),
            position=np.asarray(position, dtype=np.float64),
            rotation=rotation_from_quaternion(quaternions),
            turn_error=turn_error(quaternions, rotation_from_quaternion),
            moves=None if moves is None else tuple(moves),
            source=source,
        )

    @classmethod
    def from_se3(cls, t: ArrayLike, poses: Iterable[Any], *, moves: Iterable[str] | None = None) -> Self:
        """Take a sequence of spatialmath ``SE3`` (or 4 x 4 matrices) at the given times [s]."""
        stack = np.stack([as_pose(p, f"pose {i}") for i, p in enumerate(poses)])
        return cls(
            t=np.asarray(t, dtype=np.float64),
            position=stack[:, :3, 3],
            rotation=sealed(stack[:, :3, :3].copy()),
            moves=None if moves is None else tuple(moves),
            source="SE3 sequence",
        )

    def regripped(self, tool: FloatArray) -> Self:
        """Return the same motion as one of another tool frame.

        Args:
            tool: Its pose in the tool frame, shape (4, 4).
        """
        arm, rotation = self.rotation @ tool[:3, 3], self.rotation @ tool[:3, :3]
        velocity, acceleration = self.rates
        if velocity is not None and acceleration is not None:
            omega, alpha = velocity[:, 3:], acceleration[:, 3:]
            whirl = np.cross(omega, arm)
            velocity = velocity + np.pad(whirl, ((0, 0), (0, 3)))
            pull = np.cross(alpha, arm) + np.cross(omega, whirl)
            acceleration = acceleration + np.pad(pull, ((0, 0), (0, 3)))
        filling = self.filling
        if filling is not None and filling.missed is not None:
            more = np.linalg.norm(tool[:3, 3]) * np.linalg.norm(filling.missed[:, 3:], axis=1, keepdims=True)
            filling = filling._replace(missed=filling.missed + np.pad(np.repeat(more, 3, axis=1), ((0, 0), (0, 3))))
        position = self.position + arm
        changed: dict[str, Any] = {"velocity": velocity, "acceleration": acceleration, "filling": filling}
        changed["turn_error"] = np.abs(tool[:3, :3].T) @ self.turn_error
        return replace(self, position=position, rotation=rotation, **changed)

    def to_se3(self) -> Any:
        """Return the poses as one spatialmath ``SE3`` that holds them all, in order."""
        from spatialmath import SE3  # noqa: PLC0415 - loads plotting

        matrices = np.tile(np.eye(4), (self.samples, 1, 1))
        matrices[:, :3, :3] = self.rotation
        matrices[:, :3, 3] = self.position
        return SE3(list(matrices), check=False)


def _no_rotation(matrices: FloatArray) -> NDArray[np.bool_]:
    """Which matrices are no rotations, shape (m,)."""
    error = np.abs(np.einsum("nji,njk->nik", matrices, matrices) - np.eye(3)).max(axis=(1, 2))
    return np.asarray((error > 1e-6) | (np.linalg.det(matrices) < 0))


Trajectory = JointTrajectory | PoseTrajectory


def given_rates(trajectory: Trajectory) -> tuple[FloatArray, FloatArray]:
    """Return speeds and accelerations of a program that gives both, shape (n, joints) each, of poses (n, 6).

    Raises:
        InputError: It does not.
    """
    speeds, accelerations = trajectory.rates
    if speeds is None or accelerations is None:
        raise InputError(trajectory.source, "no speeds with accelerations", "both")
    return speeds, accelerations
