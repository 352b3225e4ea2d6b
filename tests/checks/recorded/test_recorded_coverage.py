"""Does the interval that a check gives for a recorded motion hold the true margin?

Random programs of a six-axis arm whose motion is known in closed form are recorded: at 125 Hz to 1 kHz, with
scattered stamps, an uneven sampler, lost samples, encoder counts and noise. The checker sees the recording alone.
`python tests/motion/test_recorded_coverage.py 10000` runs more of them and prints what they come to.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import lfilter

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.hold.use import pad_use
from gripmargin.contact.loads import part_load
from gripmargin.kernels.utilisation import peak_utilisation
from gripmargin.motion.rates import estimate_rates
from gripmargin.motion.tool_motion import joint_motion
from gripmargin.results.findings import judge

TARGET = 2.0
DENSE = 2e-4  # [s]
DOWN = np.array([0.0, 0.0, -9.80665])


def minimum_jerk(s, _):
    """Share, its rate and its second derivative over a time of 1 (Flash & Hogan, J. Neurosci. 5(7), 1985)."""
    return s**3 * (10 - 15 * s + 6 * s * s), 30 * s**2 * (1 - s) ** 2, 60 * s * (1 - s) * (1 - 2 * s)


def ramps(s, edge, ends):
    """Piecewise linear acceleration over a time of 1 from ramps of a length ``edge``, integrated exactly."""
    shape = np.array([0, 1, 1, 0, 0, -1, -1, 0])
    knots = np.array([0, edge, ends - edge, ends, 1 - ends, 1 - ends + edge, 1 - edge, 1.0])
    speeds = np.concatenate([[0], np.cumsum((shape[1:] + shape[:-1]) / 2 * np.diff(knots))])
    step, rise = np.diff(knots), np.diff(shape)
    ways = np.concatenate([[0], np.cumsum(speeds[:-1] * step + shape[:-1] * step**2 / 2 + rise * step**2 / 6)])
    i = np.clip(np.searchsorted(knots, s, "right") - 1, 0, 6)
    h = s - knots[i]
    slope = np.where(step > 0, rise / np.where(step > 0, step, 1), 0.0)[i]
    a = shape[i] + slope * h
    v = speeds[i] + shape[i] * h + slope * h**2 / 2
    x = ways[i] + speeds[i] * h + shape[i] * h**2 / 2 + slope * h**3 / 6
    return x / ways[-1], v / ways[-1], a / ways[-1]


def s_curve(s, edge):
    return ramps(s, 0.4 * edge, edge)


def trapezoid(s, edge):
    return ramps(s, 1e-9, edge)


LAWS = {"smooth": minimum_jerk, "S-curve": s_curve, "trapezoid": trapezoid}


@dataclass(frozen=True)
class Move:
    law: str
    start: float
    duration: float
    way: np.ndarray
    edge: float


@dataclass(frozen=True)
class Program:
    """Moves from rest to rest that may overlap: exact joint values and rates at any time."""

    home: np.ndarray
    moves: tuple[Move, ...]
    ends: float

    def at(self, t):
        out = np.zeros((3, t.size, self.home.size))
        out[0] = self.home
        for move in self.moves:
            s = np.clip((t - move.start) / move.duration, 0, 1)
            inside = (s > 0) & (s < 1)
            x, v, a = LAWS[move.law](s, move.edge)
            shares = np.stack([x, v * inside / move.duration, a * inside / move.duration**2])
            out += shares[:, :, None] * move.way
        return out


def random_program(rng):
    law = str(rng.choice(list(LAWS)))
    moves, t = [], rng.uniform(0.03, 0.1)
    for _ in range(rng.integers(1, 4)):
        duration = rng.uniform(0.2, 0.6)
        way = rng.normal(size=6) * rng.uniform(0.05, 0.4) * duration**1.5 * 2
        moves.append(Move(law, t, duration, way, rng.uniform(0.2, 0.45)))
        t += duration * rng.uniform(0.6, 1.1)
    home = np.array([0, 0.3, -0.3, 0, 0.2, 0]) + rng.uniform(-0.4, 0.4, 6)
    return Program(home, tuple(moves), max(m.start + m.duration for m in moves) + rng.uniform(0.03, 0.1))


@dataclass(frozen=True)
class Recorder:
    rate: float
    stamps: float
    sampler: float
    lost: float
    count: float
    noise: float

    def record(self, program, rng):
        """What is logged: stamps and positions."""
        tau = np.arange(int(program.ends * self.rate)) / self.rate
        keep = rng.random(tau.size) >= self.lost
        keep[[0, -1]] = True
        tau = tau[keep]
        taken = np.sort(np.clip(tau + self.sampler * rng.normal(size=tau.size), 0, program.ends))
        stamp = np.sort(taken + self.stamps * rng.normal(size=tau.size)) + 1e-6 * np.arange(tau.size)
        q = program.at(taken)[0] + self.noise * rng.normal(size=(tau.size, 6))
        return stamp, self.count * np.round(q / self.count), taken


def random_recorder(rng):
    return Recorder(
        rate=float(rng.choice([125, 250, 500, 1000])),
        stamps=rng.uniform(0, 5e-4) * rng.integers(2),
        sampler=rng.uniform(0, 5e-4) * rng.integers(2),
        lost=rng.uniform(0, 0.02) * rng.integers(2),
        count=10 ** rng.uniform(-6, -3),
        noise=10 ** rng.uniform(-6.5, -4),
    )


@dataclass(frozen=True)
class Outcome:
    recorder: Recorder
    law: str
    true: float
    value: float
    low: float
    high: float
    verdict: str

    @property
    def inside(self):
        return self.low <= self.true <= self.high

    @property
    def width(self):
        return (self.high - self.low) / self.true


def made(arm):
    """A plate on two pads beside its middle."""
    film = gm.PadMaterial(
        name="film", pull_off_stress=8e4, shear_strength=6e4, normal_stiffness=1e8, shear_stiffness=3e7
    )
    pads = tuple(
        gm.Pad.rectangle(name, film, [0.03, 0.02], gm.pose((x, 0.002, 0)))
        for name, x in (("one", -0.03), ("two", 0.04))
    )
    part = gm.Part(face="plane", rigid=True, mass=0.6, com=[0.003, 0.0, 0.01], inertia=[8e-4, 2e-3, 2.6e-3, 0, 0, 0])
    t = np.arange(8) * 0.01
    return gm.Job(
        name="plate",
        gripper=gm.Gripper(pads=pads),
        part=part,
        robot=arm,
        trajectory=gm.JointTrajectory(t=t, q=np.zeros((8, 6))),
    )


def edge_maps(job):
    case = work_out(replace(job, part=replace(job.part, surface_factor=1.0)))
    return case.grip.face


def true_use(job, maps, program, span):
    """Largest utilisation of the exact motion between the first and the last instant that was recorded."""
    t = np.arange(span[0], span[1], DENSE)
    motion = joint_motion(job.robot, t, *program.at(t))
    return float(peak_utilisation(maps, part_load(job.part, motion, DOWN))[0].max())


def drive_speeds(program, taken, rng):
    """What a drive says of its speeds: noisy, and through a filter of the first order of up to 10 ms or none."""
    fine = np.arange(0, program.ends + 1e-3, DENSE)
    speeds, lag = program.at(fine)[1], rng.choice([0.0, 0.002, 0.010]) * rng.random()
    if lag > DENSE:
        keep = np.exp(-DENSE / lag)
        speeds = lfilter([1 - keep], [1, -keep], speeds, axis=0)
    shown = np.column_stack([np.interp(taken, fine, column) for column in speeds.T])
    return shown + 10 ** rng.uniform(-5, -3) * rng.normal(size=shown.shape)


def simulate(job, maps, seed, *, speeds=False):
    rng = np.random.default_rng([2026, seed])
    program, recorder = random_program(rng), random_recorder(rng)
    stamp, q, taken = recorder.record(program, rng)
    qd = drive_speeds(program, taken, rng) if speeds else None
    use = true_use(job, maps, program, (taken[0], taken[-1]))
    true = float(np.exp(rng.uniform(np.log(1.2), np.log(4.0))))
    # the surface is made so that the true margin is the one drawn
    part = replace(job.part, surface_factor=true * use)
    case = work_out(replace(job, part=part, trajectory=gm.JointTrajectory(t=stamp, q=q, qd=qd)))
    found, _ = pad_use(case)
    with np.errstate(divide="ignore"):
        low, high, value = (float(1 / np.float64(u)) for u in (found.high.max(), found.low.max(), found.value.max()))
    return Outcome(recorder, program.moves[0].law, true, value, low, high, str(judge(low, high, TARGET)))


def summary(outcomes):
    below = [o for o in outcomes if o.true < TARGET]
    return {
        "cases": len(outcomes),
        "inside": float(np.mean([o.inside for o in outcomes])),
        "width": float(np.median([o.width for o in outcomes])),
        "off": float(np.median([abs(o.value / o.true - 1) for o in outcomes])),
        "undecided": float(np.mean([o.verdict == "undecided" for o in outcomes])),
        "false pass": float(np.mean([o.verdict == "pass" for o in below])),
    }


@pytest.fixture(scope="module")
def outcomes(arm):
    job = made(arm)
    maps = edge_maps(job)
    return [simulate(job, maps, seed) for seed in range(400)]


def test_the_interval_holds_the_true_margin_and_is_of_use(outcomes):
    found = summary(outcomes)
    assert found["inside"] >= 0.95
    assert found["false pass"] == 0.0
    assert found["off"] <= 0.03
    assert found["width"] <= 0.75
    assert found["undecided"] <= 0.6


def test_it_does_so_with_the_speeds_of_drives(arm):
    job = made(arm)
    maps = edge_maps(job)
    outcomes, refused = [], 0
    for seed in range(100):
        try:
            outcomes.append(simulate(job, maps, seed, speeds=True))
        except gm.InputError:  # noise and counts of a joint that hardly moves: refused, and never a pass
            refused += 1
    found = summary(outcomes)
    assert refused <= 5
    assert found["inside"] >= 0.95
    assert found["false pass"] == 0.0
    assert found["width"] <= 0.6


@pytest.mark.parametrize("law", LAWS)
def test_it_does_so_for_every_kind_of_motion(outcomes, law):
    assert summary([o for o in outcomes if o.law == law])["inside"] >= 0.95


@pytest.mark.parametrize("rate", [125, 250, 500, 1000])
def test_it_does_so_at_every_rate(outcomes, rate):
    assert summary([o for o in outcomes if o.recorder.rate == rate])["inside"] >= 0.95


def test_good_recordings_are_decided(outcomes):
    """Fine counts, steady stamps, smooth moves: what is left to doubt is a tenth of the margin."""
    good = [o for o in outcomes if o.recorder.count < 3e-5 and o.law == "smooth" and not o.recorder.sampler]
    assert len(good) >= 8
    assert summary(good)["width"] <= 0.4


def errors_of(rate, noise):
    """Stated and actual error of the accelerations of one smooth program, medians over the moving samples."""
    program = Program(np.zeros(6), (Move("smooth", 0.1, 0.8, np.linspace(0.3, 0.8, 6), 0.3),), 1.0)
    rng = np.random.default_rng(3)
    stated, actual = [], []
    for _ in range(4):
        t = np.arange(int(program.ends * rate)) / rate
        q, _, qdd = program.at(t)
        rates = estimate_rates(t, q + noise * rng.normal(size=q.shape))
        inside = (t > 0.2) & (t < 0.8)
        stated.append((2 * rates.sigma_second + rates.bias_second)[inside])
        actual.append(np.abs(rates.second - qdd)[inside])
    return float(np.median(stated)), float(np.median(actual))


def test_errors_shrink_with_less_noise_and_finer_sampling():
    """The best rate for the second derivative of a motion with p = 4 derivatives is (noise^2/n)^((p - 2)/(2 p + 1)).

    Stone, Ann. Stat. 10(4), 1982 (from memory): the noise to the power 4/9, the sampling to the power 2/9.
    """
    coarse, dense, quiet = (errors_of(*case) for case in ((125, 1e-4), (1000, 1e-4), (125, 1e-6)))
    for at_first, finer, less in zip(coarse, dense, quiet, strict=True):
        assert 0.75 * 4 / 9 <= np.log(at_first / less) / np.log(100) <= 1.5 * 4 / 9
        assert 0.5 * 2 / 9 <= np.log(at_first / finer) / np.log(8) <= 2.0 * 2 / 9


def main(cases):
    """Run many cases and print what they come to, all together and by what was recorded."""
    arm = gm.read_urdf(Path(__file__).parents[3] / "trajectories" / "arm.urdf").mounted(tool=gm.pose((0, 0, 0.1)))
    job = made(arm)
    maps = edge_maps(job)
    found = [simulate(job, maps, seed) for seed in range(cases)]
    groups = {"all": found}
    groups |= {law: [o for o in found if o.law == law] for law in LAWS}
    groups |= {f"{rate} Hz": [o for o in found if o.recorder.rate == rate] for rate in (125, 250, 500, 1000)}
    groups |= {
        "even sampler, stamps scatter": [o for o in found if o.recorder.stamps and not o.recorder.sampler],
        "uneven sampler, true stamps": [o for o in found if o.recorder.sampler and not o.recorder.stamps],
        "both": [o for o in found if o.recorder.sampler and o.recorder.stamps],
        "samples lost": [o for o in found if o.recorder.lost],
        "counts below 1e-5 rad": [o for o in found if o.recorder.count < 1e-5],
        "counts above 1e-4 rad": [o for o in found if o.recorder.count > 1e-4],
    }
    for name, group in groups.items():
        figures = ", ".join(f"{key} {value:.3g}" for key, value in summary(group).items())
        print(f"{name:<29} {figures}")  # noqa: T201 - a script


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
