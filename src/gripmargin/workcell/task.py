"""What the program is meant to do: phases and the margins to reach."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from gripmargin.base.arrays import Value
from gripmargin.base.errors import InputError
from gripmargin.workcell.fields import positive, put

PhaseKind = Literal["preload", "carry", "release", "free"]
ReleaseKind = Literal["peel", "torsion", "shear", "overload"]


@dataclass(frozen=True, eq=False, kw_only=True)
class Phase(Value):
    """A stretch of the program: by the labels of its moves, or from one time to another.

    Attributes:
        kind: preload (approach until the part leaves its tray), carry (in the air), release (seating in the
            nest until the tool has left) or free (no part).
        moves: Labels of the moves it covers.
        start: First time [s].
        end: Last time [s].
        release: How the part is let go, where the kind is release.
    """

    kind: PhaseKind
    moves: tuple[str, ...] | None = None
    start: float | None = None
    end: float | None = None
    release: ReleaseKind | None = None

    def __post_init__(self) -> None:
        if self.kind not in get_args(PhaseKind):
            raise InputError("phase kind", f"{self.kind!r}", " or ".join(get_args(PhaseKind)))
        if self.release is not None and self.release not in get_args(ReleaseKind):
            raise InputError("phase release", f"{self.release!r}", " or ".join(get_args(ReleaseKind)))
        if self.release is not None and self.kind != "release":
            raise InputError("phase release", f"a way of release in a {self.kind} phase", "a release phase")
        by_time = self.start is not None or self.end is not None
        if (self.moves is not None) == by_time:
            raise InputError(f"{self.kind} phase", "both or neither of moves and times", "either moves, or from and to")
        if self.moves is not None:
            put(self, "moves", (self.moves,) if isinstance(self.moves, str) else tuple(self.moves))
            if not self.moves:
                raise InputError(f"{self.kind} phase", "an empty list of moves", "at least one label")
        elif self.start is None or self.end is None or not self.start < self.end:
            raise InputError(f"{self.kind} phase", f"from {self.start} to {self.end}", "two times, the later one last")

    @property
    def span(self) -> tuple[float, float] | None:
        """From and to [s], None where the phase is told by moves."""
        return None if self.start is None or self.end is None else (self.start, self.end)


@dataclass(frozen=True, eq=False, kw_only=True)
class Targets(Value):
    """The margins to reach. They are the user's; no standard covers dry-adhesive pads.

    Attributes:
        hold: Least grip margin over the carry [-].
        stop: Least grip margin at a stop [-].
        release: Least ratio of restraint to demand over the release [-].
        preload: Least share of full adhesion that the preload must give anywhere on the pads [-].
        pressure: Least ratio of the pressure that the part may take to the highest contact pressure [-].
        flange: Least ratio of the wrist's rated values to what gripper and part ask [-].
        peel: Least peel margin (1 / peel index) over the carry [-], or None: reported, not judged.
        one_pad_lost: Least grip margin with any one pad gone [-], or None: reported, not judged.
        swing: Least grip margin over the carry with the part swinging on its backing [-], or None: that of hold.
        settle: Least ratio of nest.tolerance to the swing that is left when the part is placed [-].
    """

    hold: float = 2.0
    stop: float = 1.5
    release: float = 1.5
    preload: float = 0.9
    pressure: float = 1.0
    flange: float = 1.0
    peel: float | None = None
    one_pad_lost: float | None = None
    swing: float | None = None
    settle: float = 1.0

    def __post_init__(self) -> None:
        for key in (
            "hold",
            "stop",
            "release",
            "preload",
            "pressure",
            "flange",
            "peel",
            "one_pad_lost",
            "swing",
            "settle",
        ):
            value = getattr(self, key)
            if value is not None:
                put(self, key, positive(value, f"targets.{key}", "-"))
        if self.preload > 1.0:
            raise InputError("targets.preload", f"{self.preload:g}", "a share of full adhesion, at most 1")
