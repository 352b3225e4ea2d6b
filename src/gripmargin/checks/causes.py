"""What one cause explains many findings: said once and first, with what follows from it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from gripmargin.checks import plausible
from gripmargin.checks.case import Case
from gripmargin.contact.handover import Release
from gripmargin.contact.putdown import Putdown
from gripmargin.results.findings import CheckResult, RootCause, Verdict

ALIKE = 0.1  # share by which two heights may differ that have one cause
ALL_BUT_NONE = 0.01  # share of a full bond that is no bond to speak of

BOND: Final = ("lift_off", "hold", "peel", "one_pad_lost", "swing", "stop", "recorded", "swing_as_run")
Found = tuple[str, str, tuple[str, ...]]


def causes(case: Case, results: Iterable[CheckResult]) -> tuple[RootCause, ...]:
    """Return what explains more than one result that is no pass, the first cause first.

    Args:
        case: The job.
        results: Of all checks.
    """
    short = [result.check for result in results if result.verdict is not Verdict.PASS]
    odd = [RootCause(code=code, text=text) for code, text in plausible.unaccepted(case)] if short else []
    for look in (_heights, _bond):
        for code, text, follows in look(case):
            explained = tuple(name for name in short if name in follows)
            if len(explained) > 1:
                return (*odd, RootCause(code=code, text=text, explains=explained))
    return tuple(odd)


def _heights(case: Case) -> Iterator[Found]:
    """Pads that do not come down to the face of the part."""
    above = {"pick.face": _above_tray(case), "nest.face": _above_nest(case)}
    high = {name: height for name, height in above.items() if height is not None}
    if not high:
        return
    thickness, places = case.job.part.thickness, " and ".join(high)
    by = " and ".join(f"{1e3 * height:.1f} mm" for height in high.values())
    if len(high) == 2 and _alike(*high.values()):
        (height, _) = high.values()
        by, check = f"{1e3 * height:.1f} mm", "is robot.tool missing, or robot.base wrong?"
    elif thickness is not None and all(_alike(height, thickness) for height in high.values()):
        check = (
            f"{places} {'lies' if len(high) == 1 else 'lie'} at the underside of the part, which is "
            f"{1e3 * thickness:.1f} mm thick; the gripped face is meant"
        )
    else:
        check = f"check {places}, robot.tool and robot.base"
    follows = ("release", "settle") if list(high) == ["nest.face"] else ("preload", *BOND, "release", "settle")
    yield "above_the_face", f"the pads stay {by} above {places}: {check}", follows


def _above_tray(case: Case) -> float | None:
    """How far the pads' centre stays above the face in the tray [m]; None where they reach it."""
    pickup = case.pickup
    if pickup is None:
        return None
    least = float(pickup.relative.height(case.whole.centre[None]).min())
    return least if least > max(face.reach for face in pickup.faces) else None


def _above_nest(case: Case) -> float | None:
    """How far it stays above the face in the nest [m]; None where they reach it."""

    def up(putdown: Putdown) -> bool:
        return not isinstance(putdown, Release) and putdown.seat.height > max(face.reach for face in putdown.faces)

    return next((putdown.seat.height for putdown in case.putdowns if up(putdown)), None)


def _alike(one: float, other: float) -> bool:
    return abs(one - other) <= ALIKE * max(one, other)


def _bond(case: Case) -> Iterator[Found]:
    """A press that leaves no bond."""
    if case.pickup is None:
        return
    pairs = zip(case.pickup.activation, case.whole.patches, strict=True)
    held = sum(float(share @ patch.areas) for share, patch in pairs)
    if held <= ALL_BUT_NONE * sum(float(patch.areas.sum()) for patch in case.whole.patches):
        yield "no_bond", "the press in the tray leaves no bond to speak of: mend the preload first", BOND
