"""What the program is meant to do: phases and the margins to reach."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal, get_args

from gripmargin.workcell.fields import Declared, Fault, key
from gripmargin.workcell.kinds import LABELS, Choice, Number, Text, positive

PhaseKind = Literal["preload", "carry", "release", "free", "clean"]
ReleaseKind = Literal["peel", "torsion", "shear", "overload"]


class Phase(Declared, called="phase"):
    """A stretch of the program, by labels of moves or by times.

    Its kind is preload (the approach until the part leaves its tray), carry (in the air), release (seating in the nest
    until the tool has left), free (no part) or clean (the pads on a cleaner, without a part).

    Attributes:
        kind: What happens.
        moves: Labels of the moves it covers.
        start: First time.
        end: Last time.
        release: How the part is let go, in a release phase; for the required travel, and `overload` needs measured
            data.
        part: Which of several parts is on the pads.
        pick: Which of several places it is taken from, in a preload phase.
        nest: Which of several places it is left at, in a release phase.
        cleaner: What the pads are cleaned on, in a clean phase; the name of its table.
        station: Which of several stations of the gripper it is about; a free phase may leave it out, and is about all.
    """

    kind: PhaseKind = key(Choice(get_args(PhaseKind)), "all")
    moves: tuple[str, ...] | None = key(LABELS, "all", default=None)
    start: float | None = key(Number("time"), "all", default=None, spelled="from")
    end: float | None = key(Number("time"), "all", default=None, spelled="to")
    release: ReleaseKind | None = key(Choice(get_args(ReleaseKind)), "release", default=None)
    part: str | None = key(Text("the name of a table"), "all", default=None, absent="the only one")
    pick: str | None = key(Text("the name of a table"), "all", default=None, absent="the only one")
    nest: str | None = key(Text("the name of a table"), "all", default=None, absent="the only one")
    cleaner: str | None = key(Text("the name of a table"), "cleaning", default=None, absent="the only one there is")
    station: str | None = key(Text("the name of a station"), "all", default=None, absent="there is but one")

    def place(self, name: str) -> str:
        """Return what messages call a field."""
        return f"phase {name}" if name else f"{self.kind} phase"

    def faults(self) -> Iterator[Fault]:
        """Neither labels nor two times, or both; an end before the start; what belongs to another kind of phase."""
        yield from when_faults(self.moves, self.start, self.end)
        if self.release is not None and self.kind != "release":
            yield "release", f"a way of release in a {self.kind} phase", "a phase of kind release"
        if self.part is not None and self.kind == "free":
            yield "part", "a part in a free phase", "a phase with the part on the pads"
        if self.pick is not None and self.kind != "preload":
            yield "pick", f"a place to take from in a {self.kind} phase", "a phase of kind preload"
        if self.nest is not None and self.kind != "release":
            yield "nest", f"a place to leave at in a {self.kind} phase", "a phase of kind release"
        if self.cleaner is not None and self.kind != "clean":
            yield "cleaner", f"a cleaner in a {self.kind} phase", "a phase of kind clean"

    @property
    def span(self) -> tuple[float, float] | None:
        """From and to [s], None where the phase is told by moves."""
        return span_of(self.start, self.end)


def span_of(start: float | None, end: float | None) -> tuple[float, float] | None:
    """Return a stretch that is told by times [s]; None where it is told by moves."""
    return None if start is None or end is None else (start, end)


def when_faults(moves: tuple[str, ...] | None, start: float | None, end: float | None) -> Iterator[Fault]:
    """Yield what is wrong with a stretch: neither labels nor two times, or both; an end before the start."""
    due = "either moves, or from and to"
    times = [name for name, value in (("from", start), ("to", end)) if value is not None]
    if moves is not None and times:
        yield "", f"moves and {' and '.join(times)}", due
    if moves is None and len(times) < 2:
        yield "", f"'{times[0]}' alone" if times else "neither moves nor times", due
    if moves == ():
        yield "", "an empty list of moves", "at least one label"
    if start is not None and end is not None and not start < end:
        yield "", f"from {start:g} s to {end:g} s", "an end later than the start"


class Targets(Declared, called="targets"):
    """Margins to reach.

    They are the user's; no standard covers dry-adhesive pads.

    Attributes:
        hold: Least grip margin over the carry, and as the part leaves its tray.
        stop: Least grip margin while the robot stops, swing included.
        release: Least ratio of restraint to demand over the release.
        preload: Least share of full adhesion anywhere on the pads after the press.
        pressure: Least ratio of the pressure that the part may take to the highest contact pressure.
        flange: Least ratio of every rated value of the wrist to what gripper and part ask.
        peel: Least peel margin, 1 / peel index.
        one_pad_lost: Least grip margin with any one of several pads gone.
        swing: Least grip margin over the carry with the part swinging on its backing.
        settle: Least ratio of `nest.tolerance` to what is left of the swing when the part is placed.
        cleaning: Least share of the pads' faces that a cleaning move cleans.
        cleaner: Least ratio of what the fixing of a cleaner takes to what pads that stick to it pull.
        interval: Picks between two cleanings, over which every margin of the pads has to keep its target.
        droop: Least ratio of `part.clearance`, and of `nest.tolerance` where it is placed, to how far the part droops.
    """

    hold: float = key(positive(), "lift_off, hold", default=2.0)
    stop: float = key(positive(), "stop", default=1.5)
    release: float = key(positive(), "release", default=1.5)
    preload: float = key(Number(above=0, most=1, what="a share of full adhesion"), "preload", default=0.9)
    pressure: float = key(positive(), "pressure", default=1.0)
    flange: float = key(positive(), "flange", default=1.0)
    peel: float | None = key(positive(), "hold", default=None, absent="reported, not judged")
    one_pad_lost: float | None = key(positive(), "hold", default=None, absent="reported, not judged")
    swing: float | None = key(positive(), "swing", default=None, like="hold")
    settle: float = key(positive(), "settle", default=1.0)
    cleaning: float = key(Number(above=0, most=1, what="a share of the faces"), "cleaning", default=1.0)
    cleaner: float = key(positive(), "cleaner", default=1.5)
    interval: float | None = key(positive(), "interval", default=None, absent="not asked")
    droop: float = key(positive(), "droop", default=1.0)

    def of(self, name: str) -> float | None:
        """Return the target that counts: where it is not given that of another, or None: reported, not judged."""
        value, like = getattr(self, name), self.keys[name].like
        return self.of(like) if value is None and like else value
