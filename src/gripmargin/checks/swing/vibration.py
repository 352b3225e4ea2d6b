"""The part swings on its soft pads: natural frequencies and shapes, and the swing that a load history starts.

The part is a rigid body on the elastic layer of the pads: ``M x'' + C x' + K x = w(t)``, with its displacement x
against the gripper (translation of the tool origin [m] and rotation [rad], tool axes) and the load w that it would
put on a rigid gripper. K x is what the pads then carry. Turned into modes these are oscillators on their own
(Rayleigh; any text on vibration). The turning of the tool while the part swings is slow against the swing and left
out.

A response is the load as the pads feel it, mode by mode: for a load that changes slowly both are the same.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray, Value
from gripmargin.contact.backing import Backing
from gripmargin.contact.loads import load_per_acceleration
from gripmargin.kernels.modes import natural_modes
from gripmargin.kernels.oscillator import ComplexArray, fading_sum, free_vibration, response, slopes
from gripmargin.workcell import STANDARD_AIR_DENSITY, Part

MOST_DAMPED = 0.95  # of critical; beyond that a part hardly swings, and less damping is the safe side
WORDS = ("slide along x", "slide along y", "pull", "rock about x", "rock about y", "twist")
NAMED = 0.25  # share of the motion's energy from which a second word is needed
STEP_MISSED = 0.61  # half of 1 - min(sin x / x): the most by which a ramp may understate what a step does
INSTANT = 1e-9  # [s] that a stretch of one sample is taken to last
HOPELESS = 1e3  # stands for the share of a step that is missed where nothing is followed
FOLLOWED = 2.5  # angle [rad] by which a mode turns between samples beyond which a spline does not follow it


@dataclass(frozen=True, eq=False, kw_only=True)
class Modes(Value):
    """Natural vibrations of the part on its pads, slowest first.

    Attributes:
        frequency: Undamped, angular [rad/s], shape (modes,).
        damping: Share of critical damping [-], shape (modes,).
        shapes: Displacements of the part at the tool origin, scaled so that each one's elastic energy is 1/2 J,
            shape (6, modes).
        loads: What the pads carry for a response of 1, stiffness times shapes, shape (6, modes).
        names: In words.
    """

    frequency: FloatArray
    damping: FloatArray
    shapes: FloatArray
    loads: FloatArray
    names: tuple[str, ...]

    @property
    def hertz(self) -> FloatArray:
        """Natural frequencies [Hz], shape (modes,)."""
        return self.frequency / (2.0 * np.pi)

    @property
    def damped_frequency(self) -> FloatArray:
        """Angular frequencies with the damping [rad/s], shape (modes,)."""
        return np.asarray(self.frequency * np.sqrt(1.0 - self.damping * self.damping))

    def stiffer(self, factor: float) -> Modes:
        """Return the modes on pads so many times as stiff."""
        root = np.sqrt(factor)
        return replace(self, frequency=self.frequency * root, shapes=self.shapes / root, loads=self.loads * root)

    def damped(self, ratio: float) -> Modes:
        """Return the modes with another share of critical damping."""
        return replace(self, damping=np.full(self.frequency.size, ratio))


def modes_of(backing: Backing, part: Part, air_density: float = STANDARD_AIR_DENSITY) -> Modes:
    """Return the natural vibrations of a part on its pads.

    The damping of a mode is the mean of the pads' damping ratios, weighted with the elastic energy that each pad takes
    in it (modal strain energy: Ungar & Kerwin, J. Acoust. Soc. Am. 34(7), 1962, from memory); a pad that gives none
    counts as undamped.

    Args:
        backing: The pads.
        part: The part; with a drag area the air that it takes along counts.
        air_density: [kg/m^3].
    """
    reach = max(float(np.abs(p.points).max()) for p in backing.patches)
    frequency, shapes = natural_modes(backing.stiffness, -load_per_acceleration(part, air_density), reach)
    energy = [np.einsum("im,ij,jm->m", shapes, backing.patch_stiffness(p), shapes) for p in backing.patches]
    ratios = np.array([p.pad.material.damping_ratio or 0.0 for p in backing.patches])
    return Modes(
        frequency=frequency,
        damping=np.minimum(ratios @ np.stack(energy), MOST_DAMPED),
        shapes=shapes,
        loads=backing.stiffness @ shapes,
        names=tuple(_name(shape, part) for shape in shapes.T),
    )


def _name(shape: FloatArray, part: Part) -> str:
    """What a shape mostly is, by the energy of its motion about the part's centre of mass."""
    slide, turn = shape[:3] + np.cross(shape[3:], part.com), shape[3:]
    energy = np.concatenate([part.mass * slide**2, turn * (part.inertia @ turn)])
    shares = energy / energy.sum()
    first, second = np.argsort(-shares)[:2]
    return f"{WORDS[first]} with {WORDS[second]}" if shares[second] >= NAMED else WORDS[first]


@dataclass(frozen=True, eq=False, kw_only=True)
class Start:
    """How a stretch in the air begins.

    Attributes:
        sample: From which sample of the stretch on the part swings; up to there the pads just carry the load.
        load: What the pads carry then, shape (6,).
        rate: Speed of the part against the gripper then, at the tool origin (translation, rotation), shape (6,).
    """

    sample: int
    load: FloatArray
    rate: FloatArray


@dataclass(frozen=True, eq=False, kw_only=True)
class Doubt:
    """Independent errors of a load history that comes from estimated rates.

    Attributes:
        columns: What one unit of each cause adds to the load, shape (causes, 6, n).
        sigma: One standard deviation of each cause, shape (n, causes).
        bias: Bound of its systematic error, shape (n, causes).
        window: Time over which it was smoothed [s], shape (n, causes).
        unsmoothed: What its integral and itself have to be changed by to follow the positions without smoothing,
            shape (2, n, causes), or None: not known.
        speed_sigma: One standard deviation of the noise of its integral, the speed, shape (n, causes).
        speed_bias: Bound of the systematic error of that speed, shape (n, causes).
        spin: What one unit of an error of speed adds to the cause at most, shape (n, 1).
        noise: Noise of the positions that it is the second derivative of, shape (causes,).
    """

    columns: FloatArray
    sigma: FloatArray
    bias: FloatArray
    window: FloatArray
    unsmoothed: FloatArray | None
    speed_sigma: FloatArray
    speed_bias: FloatArray
    spin: FloatArray
    noise: FloatArray


@dataclass(frozen=True, eq=False, kw_only=True)
class Drive:
    """What drives the swing over a stretch in the air, mode by mode; each of shape (modes, n) unless it says another.

    Attributes:
        t: Times [s], shape (n,).
        load: Load as each mode takes it, straight between the samples.
        base: The load about which it swings: the same, or smoothed where the load is full of noise.
        kinks: By how much the load may start more or less swing at each sample than straight lines do.
        bias: Bound of the systematic error of the load itself.
        growth: Variance that noise adds to the swing from sample to sample.
        sigma: One standard deviation of the noise of the load itself.
        kick: What the start's rate is changed by, for a load whose own speed is not the smoothed one, shape (modes,).
    """

    t: FloatArray
    load: FloatArray
    base: FloatArray
    kinks: FloatArray
    bias: FloatArray
    growth: FloatArray
    sigma: FloatArray
    kick: FloatArray

    def scaled(self, t: FloatArray, factor: FloatArray, still: FloatArray) -> Drive:
        """Return the drive with moves at other speeds.

        Args:
            t: New times [s], shape (n,).
            factor: Square of the speed factor at each sample, shape (n,).
            still: What of the load does not depend on speed, shape (modes, n).
        """
        return Drive(
            t=t,
            load=still + factor * (self.load - still),
            base=still + factor * (self.base - still),
            kinks=factor * self.kinks,
            bias=factor * self.bias,
            growth=factor**2 * self.growth,
            sigma=factor * self.sigma,
            kick=np.sqrt(factor[0]) * self.kick,
        )

    def since(self, first: int) -> Drive:
        """Return the drive from a sample on."""
        rows = {name: getattr(self, name)[:, first:] for name in ("load", "base", "kinks", "bias", "growth", "sigma")}
        return Drive(t=self.t[first:], kick=np.zeros_like(self.kick), **rows)

    def rows_of(self, other: Drive, taken: NDArray[np.bool_]) -> Drive:
        """Return the drive with the modes marked, shape (modes,), taken from another."""
        pick = {
            name: np.where(taken[:, None], getattr(other, name), getattr(self, name))
            for name in ("load", "base", "kinks", "bias", "growth", "sigma")
        }
        return Drive(t=self.t, kick=np.where(taken, other.kick, self.kick), **pick)


@dataclass(frozen=True, eq=False, kw_only=True)
class Swing:
    """The response of each mode over a stretch in the air.

    Attributes:
        modes: The natural vibrations.
        drive: What drives them.
        first: Sample from which on the part swings.
        vibration: Free vibration after each sample, as `gripmargin.kernels.oscillator` has it, shape (modes, n).
        unsure: Bound of the systematic error of the response, shape (modes, n).
        sigma: One standard deviation of its noise, shape (modes, n).
    """

    modes: Modes
    drive: Drive
    first: int
    vibration: ComplexArray
    unsure: FloatArray
    sigma: FloatArray

    @property
    def amplitude(self) -> FloatArray:
        """Amplitude of the swing about the load after each sample, as a response, shape (modes, n)."""
        return self._amplitude(slopes(self.drive.t, self.drive.load - self.drive.base))

    @property
    def about_rest(self) -> FloatArray:
        """Amplitude of the residual vibration if the load stayed as it is after each sample, shape (modes, n)."""
        return self._amplitude(slopes(self.drive.t, self.drive.load))

    def _amplitude(self, slope: FloatArray) -> FloatArray:
        """Amplitude about a load that the drive's leaves by a slope, shape (modes, n)."""
        w, z, turn = (x[:, None] for x in (self.modes.frequency, self.modes.damping, self.modes.damped_frequency))
        off = self.drive.load - self.drive.base
        size = np.abs(self.vibration + (slope + (z * w + 1j * turn) * (off - 2.0 * z / w * slope)) / turn)
        size[:, : self.first] = 0.0
        return np.asarray(size)

    def response(self, share: float = 0.0) -> FloatArray:
        """Return the response at a share of the way from each sample to the next, shape (modes, n)."""
        drive, modes, first = self.drive, self.modes, self.first
        out = response(drive.t, drive.load, modes.frequency, modes.damping, self.vibration, share)
        rise = np.diff(drive.base[:, : first + 1])
        out[:, :first] = drive.base[:, :first] + share * rise
        return out


def swing(modes: Modes, drive: Drive, start: Start) -> Swing:
    """Return the swing that a drive starts."""
    first = start.sample
    t, load = drive.t[first:], drive.load[:, first:]
    begin = modes.shapes.T @ start.load, modes.loads.T @ start.rate + drive.kick
    vibration = np.zeros(drive.load.shape, dtype=np.complex128)
    vibration[:, first:] = free_vibration(t, load, modes.frequency, modes.damping, begin)
    unsure, variance = drive.bias.copy(), drive.sigma**2
    for i, rate in enumerate(modes.damping * modes.frequency):
        unsure[i, first:] += fading_sum(t, drive.kinks[i, first:], complex(-rate)).real
        variance[i, first:] += fading_sum(t, drive.growth[i, first:], complex(-2.0 * rate)).real
    return Swing(modes=modes, drive=drive, first=first, vibration=vibration, unsure=unsure, sigma=np.sqrt(variance))


def given_drive(modes: Modes, t: FloatArray, wrench: FloatArray, excess: FloatArray | None = None) -> Drive:
    """Return the drive of a load that is known at the samples.

    Between two samples the load may step where the straight line through them makes it rise: a step of H at an unknown
    place in an interval h starts a swing of H, the straight line one of H sin(w h / 2) / (w h / 2). The second
    differences of the load bound what is missed, for a kink as well as for a step.

    Args:
        modes: The natural vibrations.
        t: Times [s], shape (n,).
        wrench: Load, shape (6, n).
        excess: By how much the mean load of each interval exceeds the mean of both its ends, shape (6, n - 1): a
            pulse between two samples.
    """
    load = modes.shapes.T @ wrench
    turn = modes.frequency[:, None] * _spacing(t)
    kinks = np.minimum(turn / 4.0, STEP_MISSED) * _bends(t, load)
    kinks += _pulses(modes, t, excess)
    zero = np.zeros_like(load)
    none = np.zeros(modes.frequency.size)
    return Drive(t=t, load=load, base=load, kinks=kinks, bias=zero, growth=zero, sigma=zero, kick=none)


def estimated_drives(
    modes: Modes, t: FloatArray, wrench: FloatArray, doubt: Doubt, first: int = 0, excess: FloatArray | None = None
) -> tuple[Drive, Drive | None]:
    """Return the drive of a load twice: with rates given or estimated by smoothing, and as the positions have it.

    Smoothing turns a step of the load into a ramp, and hides swing that the step starts: of a step of height H the
    bound of its bias shows H / 2 on either side, so twice the bound's ups and downs cover it. Unsmoothed, the load is
    that of the cubic spline through the positions. An oscillator that is slower than the samples follows the positions
    themselves and takes noise as w^2 times that of the positions; one that is faster cannot be followed.

    Args:
        modes: The natural vibrations.
        t: Times [s], shape (n,).
        wrench: Load, shape (6, n).
        doubt: Its errors.
        first: Sample from which on the part swings.
        excess: As in `given_drive`.

    Returns:
        Smoothed, and unsmoothed or None where that is not known.
    """
    w = modes.frequency[:, None]
    load = modes.shapes.T @ wrench
    per_cause = np.einsum("im,cin->mcn", modes.shapes, doubt.columns)
    bias = np.einsum("mcn,nc->mn", np.abs(per_cause), doubt.bias)
    bends = _bends(t, load) + 2.0 * np.abs(np.diff(bias, axis=1, prepend=0.0))
    step, window = _spacing(t), np.maximum(doubt.window, _spacing(t)[:, None])
    smoothed = Drive(
        t=t,
        load=load,
        base=load,
        kinks=np.minimum(w * window.max(axis=1) / 4.0, STEP_MISSED) * bends + _pulses(modes, t, excess),
        bias=bias,
        growth=np.stack(
            [
                (
                    (per_cause[i] ** 2).T * doubt.sigma**2 * _noise_share(f * window, window / step[:, None]) * window
                ).sum(axis=1)
                * (f**2 / 2.0 * step)
                for i, f in enumerate(modes.frequency)
            ]
        ),
        sigma=np.sqrt(np.einsum("mcn,nc->mn", per_cause**2, doubt.sigma**2)),
        kick=np.zeros(modes.frequency.size),
    )
    if doubt.unsmoothed is None:
        return smoothed, None
    noise2 = np.einsum("mcn,c->mn", per_cause**2, doubt.noise**2)
    speed_bias = np.einsum("mcn,nc->mn", np.abs(per_cause), doubt.speed_bias)
    speed_noise2 = np.einsum("mcn,nc->mn", per_cause**2, doubt.speed_sigma**2)
    if excess is not None:
        bends[:, 1:] += 4.0 * np.abs(modes.shapes.T @ excess)  # a rise and a fall to twice the mean, between samples
    kinks, growth = _spline_missed(w * step) * bends, noise2 * w**6 * step**2 / 2.0
    # The part starts at the smoothed speed; the positions as they are have another one there.
    kinks[:, first] += modes.frequency * speed_bias[:, first]
    growth[:, first] += modes.frequency**2 * speed_noise2[:, first]
    spin = doubt.spin[:, 0]
    unsmoothed = Drive(
        t=t,
        load=load + np.einsum("mcn,nc->mn", per_cause, doubt.unsmoothed[1]),
        base=load,
        kinks=kinks,
        bias=spin * speed_bias,
        growth=growth,
        sigma=np.sqrt(noise2 * w**4 + spin**2 * speed_noise2),
        kick=modes.frequency**2 * np.einsum("mc,c->m", per_cause[:, :, first], doubt.unsmoothed[0, first]),
    )
    return smoothed, unsmoothed


def better(modes: Modes, drives: tuple[Drive, Drive | None], start: Start, coverage: float) -> Swing:
    """Return the swing with, for each mode, the drive whose errors are smaller at their largest.

    Args:
        modes: The natural vibrations.
        drives: As `estimated_drives` returns them.
        start: How the stretch begins.
        coverage: Standard deviations of noise that count.
    """
    smoothed, unsmoothed = drives
    first = swing(modes, smoothed, start)
    if unsmoothed is None:
        return first
    followed = modes.frequency * _spacing(smoothed.t).max() <= FOLLOWED
    other = swing(modes, smoothed.rows_of(unsmoothed, followed), start)
    less = (other.unsure + coverage * other.sigma).max(axis=1) < (first.unsure + coverage * first.sigma).max(axis=1)
    return swing(modes, smoothed.rows_of(unsmoothed, followed & less), start)


def _pulses(modes: Modes, t: FloatArray, excess: FloatArray | None) -> FloatArray:
    """What a pulse of the given mean in an interval may start, at its later sample, shape (modes, n)."""
    out = np.zeros((modes.frequency.size, t.size))
    if excess is not None:
        out[:, 1:] = np.minimum(modes.frequency[:, None] * np.diff(t), 4.0) * np.abs(modes.shapes.T @ excess)
    return out


def _spacing(t: FloatArray) -> FloatArray:
    """The wider of the intervals next to each sample [s], shape (n,)."""
    h = np.diff(t)
    return np.maximum(np.append(h, h[-1:]), np.concatenate([h[:1], h])) if h.size else np.full(t.size, INSTANT)


def _bends(t: FloatArray, load: FloatArray) -> FloatArray:
    """Size of the second differences of a load at its samples, zero at both ends, its shape."""
    out = np.zeros_like(load)
    h = np.diff(t)
    if h.size > 1:
        out[:, 1:-1] = np.abs(np.diff(np.diff(load) / h)) * np.maximum(h[:-1], h[1:])
    return out


def _spline_missed(turn: FloatArray) -> FloatArray:
    """Share of a step of acceleration that the spline through the positions may add to the swing or leave out.

    A mode that turns by x between samples sees the spline's own fading, sinc(x/2)^4 / ((2 + cos x) / 3), and the
    image of a step at 2 pi - x, whose positions are (x / (2 pi - x))^3 times as large (Unser, IEEE Signal Process. Mag.
    16(6), 1999, from memory).
    """
    x = np.clip(turn, 1e-6, FOLLOWED)
    fading = 1.0 - (np.sin(x / 2.0) / (x / 2.0)) ** 4 * 3.0 / (2.0 + np.cos(x))
    image = (x / (2.0 * np.pi - x)) ** 3
    missed = np.maximum(fading, 0.0) * np.maximum(1.0, 1.0 / x) + 1.2 * image
    return np.where(turn <= FOLLOWED, missed, HOPELESS)


def _noise_share(turn: FloatArray, points: FloatArray) -> FloatArray:
    """Spectrum of the noise of a local fit, over its variance and its window, at a turn of the mode over the window.

    An upper bound of the spectra of local polynomials of degree 3 over 7 points and more, and of degree 4 over 5, all
    of which rise with the fourth power and fall beyond a turn of 7.
    """
    rise = np.minimum((turn / 4.0) ** 4, 1.0)
    fall = np.where(points > 4.5, np.minimum((7.0 / np.maximum(turn, 1e-9)) ** 1.5, 1.0), 1.0)
    return np.asarray(0.75 * rise * fall)
