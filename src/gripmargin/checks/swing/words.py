"""What the checks of the swing found, in sentences."""

from __future__ import annotations

import math
from collections.abc import Iterable

from gripmargin.checks import words
from gripmargin.checks.check import Said, SaidOfFinding
from gripmargin.checks.hold import words as hold_words
from gripmargin.checks.swing.figures import (
    PlacingCause,
    Ringing,
    SettleDetails,
    SwingCauses,
    SwingDetails,
    WorstPlacing,
    WorstSwing,
)
from gripmargin.results.findings import CheckResult, Finding
from gripmargin.results.record import NoFigures

SWING = "grip margin over the carry with the part swinging on its backing"
SETTLE = "placing tolerance over what is left of the swing when the part is placed"
PUSHED = (
    "in which phase the swings of a force that comes and goes meet one another is not known: measured damping "
    "(damping_ratio) or a force that comes little by little (shape = 'ramp') would tell"
)
LOAD_BETWEEN_SAMPLES = (
    "the samples do not tell how suddenly the load changes between them, or the positions are too noisy, to know how "
    "far the part swings"
)
IN_BETWEEN = (
    "how stiff the pads carry the part is known within bounds alone (cells that may have let go, or a plate without "
    "poissons_ratio), and a frequency in between may meet the program: measured damping (damping_ratio), an even press "
    "or poissons_ratio would tell"
)
TOO_FAR = "the part swings so far that its springs are known no more (10 degrees): neither pass nor fail can be shown"
STILL_SWINGS = "the part still swings on its backing after the last motion"
PUSHED_ASIDE = "a force of the process pushes the part out of its place on the pads, and what it started still swings"
NO_PLACING = "nest.tolerance is given, but no release phase follows the carry: nothing is placed"
NAME_THE_RELEASE = "name the release in program.phases"
DAMPING_OR_JERK = (
    "measure how the pads damp a swing and give damping_ratio, for undamped no wait is long enough; or bound the jerk "
    "of the moves before"
)


def swing_result(found: CheckResult, details: SwingDetails) -> Said:
    """Say what the swing over the carry comes to."""
    text = SWING if found.value is not None else f"{SWING}; {hold_words.NO_LOAD}"
    modes = ", ".join(
        f"{hertz:.3g} Hz {shape}" for shape, hertz in zip(details.shapes, details.frequencies, strict=True)
    )
    low, high = f"{min(details.damping):.3g}", f"{max(details.damping):.3g}"
    ratio = "undamped" if high == "0" else f"damping ratio {low}" + (f" to {high}" if high != low else "")
    lines = [f"the part swings on its pads at {modes}; {ratio}"]
    if details.amplification is not None:
        lines.append(
            f"at the worst sample the pads are used {details.amplification:.2f} times as far as without swing (margin "
            f"{words.figure(details.quasi_static_margin)} there)"
        )
    far = "it swings beyond all numbers"
    if details.sway_angle is not None and details.sway is not None:
        angle, way = math.degrees(details.sway_angle), 1e3 * details.sway
        far = f"it turns by up to {angle:.2g} deg against the tool and moves by {way:.2g} mm"
    lines.append(f"{far}; {TOO_FAR}" if details.too_far else far)
    return text, tuple(lines)


def swing_finding(found: Finding, worst: WorstSwing, because: SwingCauses) -> SaidOfFinding:
    """Say where the carry falls short with the part swinging."""
    text = (
        f"{words.where_and_how_much(found, worst.margin)} at {worst.margin.at.t:.3f} s on pad '{worst.spot.pad}', "
        f"{words.figure(worst.quasi_static_margin)} without swing; {words.ranked(because.shares.causes)}"
    )
    swing = words.ranked(_by_mode(because.ringing))
    return text, (("swing", swing), hold_words.load(worst.load), *hold_words.unsure(because.shares))


def _by_mode(ringing: Iterable[Ringing]) -> dict[str, float]:
    """Shares of the modes in the swing, by name and frequency."""
    total = sum(mode.use for mode in ringing)
    return {f"{mode.shape}, {mode.frequency:.3g} Hz": mode.use / total for mode in ringing} if total > 0 else {}


def assumed(*, pads: int, undamped: int, tray: bool, break_away: bool) -> tuple[str, ...]:
    """Say what is taken for granted of pads that give no damping ratio, and of how the carry begins."""
    out = []
    if undamped:
        some = "" if undamped == pads else f" for {undamped} of {pads} pads"
        out.append(f"Swing: no damping ratio is given{some}: taken as undamped, the safe choice.")
    if tray:
        out.append(
            "Swing: the part rests in its tray until the pads pull with its weight and the break-away force; it then "
            "starts with the speed of the tool against it."
        )
    elif break_away:
        out.append("Swing: the carry begins with the part at rest on the pads, stretched by the break-away force too.")
    else:
        out.append(
            "Swing: the carry begins with the part at rest on the pads, in balance but for the acceleration then."
        )
    return tuple(out)


def never_slow_enough(subject: str) -> str:
    """Say that slowing some motion does not help."""
    return f"no speed is slow enough ({subject})"


def slow_all(factor: float) -> str:
    """Say how far to slow the program."""
    return f"slow the whole program to {factor:.2f} of its speed (its time times {1 / factor:.2f})"


def smoother(rise: float, periods: int, shape: str, hertz: float) -> str:
    """Say over which time [s], and how many periods of which mode, accelerations should rise."""
    return (
        f"let every acceleration rise and fall over {1e3 * rise:.0f} ms or more ({periods} "
        f"period{'s' if periods > 1 else ''} of {shape}, {hertz:.3g} Hz): a time law with bounded jerk; each move "
        f"takes {1e3 * rise:.0f} ms longer"
    )


def stiffer(factor: float) -> str:
    """Say how many times as stiff the backing should be."""
    return f"put the pads on a backing {factor:g} times as stiff (thinner or harder), where strength stays"


def measured_damping(ratio: float) -> str:
    """Say which damping ratio would do."""
    return f"measure how the pads damp a swing and give damping_ratio; with {ratio:g}"


def finer_samples(step: float, hertz: float, *, rates: bool) -> str:
    """Say how densely [s] to sample for the fastest mode, and whether to give rates too."""
    text = f"sample the program every {1e3 * step:.2g} ms or finer (ten times the fastest swing, {hertz:.3g} Hz)"
    return f"{text}, with joint speeds and accelerations" if rates else text


def settle_result(_: CheckResult, details: SettleDetails | NoFigures) -> Said:
    """Say how far the part swings when it is placed, and how that dies down."""
    return SETTLE, tuple(_settling(details)) if isinstance(details, SettleDetails) else ()


def _settling(details: SettleDetails) -> list[str]:
    lines = [
        f"when it is placed the part swings by {1e3 * details.amplitude:.3f} mm to either side at its farthest corner, "
        f"allowed {1e3 * details.tolerance:.3f} mm"
    ]
    if details.last_stop is None or details.time_available is None:
        lines.append("the tool does not come to rest before the placing")
    elif details.settling_time is None:
        lines.append(
            f"after the last stop at {details.last_stop:.3f} s the swing never dies down to the tolerance: the pads "
            "are taken as undamped"
        )
    else:
        lines.append(
            f"from the last stop at {details.last_stop:.3f} s the swing dies down to the tolerance in "
            f"{1e3 * details.settling_time:.0f} ms; {1e3 * details.time_available:.0f} ms are left until then"
        )
    return lines


def settle_finding(_: Finding, worst: WorstPlacing, __: PlacingCause) -> SaidOfFinding:
    """Say by how much the part still swings when it is placed."""
    text = (
        f"{words.move_first(worst.at.move)}{worst.at.t:.3f} s: the part still swings by {1e3 * worst.amplitude:.3f} mm "
        f"when it is placed, allowed {1e3 * worst.allowed:.3f} mm"
    )
    return text, ()


def wait_longer(milliseconds: int) -> str:
    """Say how much longer to wait."""
    return f"wait {milliseconds} ms longer at the last stop before the part is set down"


def pushed_aside(way: float) -> str:
    """Say by how much forces of the process move the part on its pads [m]."""
    return (
        f"let the forces of the process end before the part is placed, or be smaller: they may move it by "
        f"{1e3 * way:.3f} mm on its pads"
    )


def ramped(rise: float, periods: int, shape: str, hertz: float) -> str:
    """Say over which time [s], and how many periods of which mode, a force should come and go."""
    return (
        f"let the force of the process come and go over {1e3 * rise:.0f} ms or more ({periods} "
        f"period{'s' if periods > 1 else ''} of {shape}, {hertz:.3g} Hz): touch slowly, or with a soft stop"
    )


def slow_last_move(amplitude: float) -> str:
    """Say that the last move alone leaves a swing [m]."""
    return (
        "run the last move slower, or with bounded jerk, for by itself it leaves a swing of up to "
        f"{1e3 * amplitude:.3f} mm"
    )
