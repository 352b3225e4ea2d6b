"""How the swing begins: as the pads lift the part out of its tray, wherever the samples lie."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.swing.ringing import stretches_of

G, SIZE, NORMAL, STRENGTH, MASS = 9.80665, 0.04, 1e8, 2e4, 0.6
STIFF, HELD = NORMAL * SIZE**2, STRENGTH * SIZE**2
DOWN, UP, WAY, QUICK = (
    0.3,
    0.6,
    0.68e-3,
    0.036,
)  # [s] when it is down, when it loosens; by how much [m], in which time [s]
DEEP = 0.6e-3  # [m]


def height(t, way=WAY, quick=QUICK):
    """Of the tool over the face: down, a rest, and up a little; with speed and acceleration, shape (3, n)."""
    out = np.zeros((3, t.size))
    for start, last, far in ((0.0, DOWN, -3e-3 - DEEP), (UP, quick, way)):
        s = np.clip((t - start) / last, 0.0, 1.0)
        out += far * np.stack(
            [
                s**3 * (10 - 15 * s + 6 * s * s),
                30 * s * s * (1 - s) ** 2 / last,
                60 * s * (1 - s) * (1 - 2 * s) / last**2,
            ]
        )
    out[0] += 3e-3
    return out


def leaves(way=WAY, quick=QUICK):
    fine = np.linspace(UP, UP + quick, 100_001)
    return fine[np.argmax(height(fine, way, quick)[0] >= MASS * G / STIFF)]


def true_margin(damping=0.0, **how):
    """By time steps of the part on its spring, from when that pulls with its weight (scipy's solve_ivp)."""
    start, rate = leaves(**how), 2.0 * damping * np.sqrt(STIFF / MASS)

    def law(t, y):
        z, v, _ = height(np.array([t]), **how)[:, 0]
        return [y[1], (z - y[0]) * STIFF / MASS + rate * (v - y[1]) - G]

    t = np.linspace(start, UP + 0.15, 6001)
    part = solve_ivp(law, (t[0], t[-1]), [0.0, 0.0], t_eval=t, rtol=1e-9, atol=1e-12, max_step=2e-4).y[0]
    assert part.min() > -1e-6  # it does not touch its tray again
    return HELD / (STIFF * (height(t, **how)[0] - part)).max()


def job(gantry, t, label, damping=None, low=0.0, **how):
    film = gm.PadMaterial(
        pull_off_stress=STRENGTH,
        shear_strength=STRENGTH,
        normal_stiffness=NORMAL,
        shear_stiffness=NORMAL / 3,
        full_preload=1e4,
        damping_ratio=damping,
    )
    q, qd, qdd = np.zeros((3, t.size, 4))
    q[:, 2], qd[:, 2], qdd[:, 2] = height(t, **how)
    return gm.Job(
        name="loosened",
        robot=gantry,
        gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [SIZE, SIZE], gm.pose((0, 0, low))),)),
        part=gm.Part(face="plane", rigid=True, mass=MASS, com=[0, 0, low], inertia=[1e-5, 1e-5, 1e-5, 0, 0, 0]),
        trajectory=gm.JointTrajectory(
            t=t, q=q, qd=qd, qdd=qdd, moves=tuple("press" if x < 0.5 else "loosen" for x in t)
        ),
        phases=(gm.Phase(kind="preload", moves=("press", *(["loosen"] if label == "preload" else []))),)
        + ((gm.Phase(kind="carry", moves=("loosen",)),) if label == "carry" else ()),
        pick=gm.Pick(face=gm.pose((0, 0, -low))),
        targets=gm.Targets(hold=1.0, swing=0.1),
    )


@pytest.mark.parametrize("label", ["preload", "carry"])
@pytest.mark.parametrize("late", [0.05, 0.5, 0.95])
def test_the_swing_begins_when_the_part_leaves_and_not_at_the_next_sample(gantry, late, label):
    step = 0.002
    t = np.arange((leaves() + late * step) % step, 0.9, step)
    report = gm.check_job(job(gantry, t, label), checks=("hold", "swing"))
    swing, hold = (next(check for check in report.checks if check.check == name) for name in ("swing", "hold"))
    true = true_margin()
    assert swing.low <= true <= swing.high
    assert swing.value == pytest.approx(true, rel=0.015)
    assert swing.low > 0.93 * true
    # the press, which a carry may begin with, is none of the carry
    assert hold.value == pytest.approx(HELD / (MASS * (G + height(t[t >= leaves()])[2].max())), rel=0.03)


@pytest.mark.parametrize("low", [0.0, 0.1])
def test_the_part_leaves_when_the_pads_pull_with_its_weight_however_low_they_hang(gantry, low):
    """Pads and part by so much below the tool's origin; it leaves at 0.3 of the way between two samples."""
    step = 0.002
    t = np.arange((leaves() + 0.7 * step) % step, 0.9, step)
    case = work_out(job(gantry, t, "preload", low=low))
    (stretch,) = stretches_of(case)
    begins = stretch.t[stretch.start.sample] - stretch.start.lead
    assert begins == pytest.approx(leaves(), abs=2e-6)


@pytest.mark.parametrize(("damping", "step"), [(0.08, 0.004), (0.15, 0.008), (0.3, 0.01)])
def test_the_first_swing_of_damped_pads_counts_though_it_is_over_at_the_next_sample(gantry, damping, step):
    how = {"way": 4e-3, "quick": 0.1}
    t = np.arange((leaves(**how) + 0.95 * step) % step, 0.9, step)
    report = gm.check_job(job(gantry, t, "preload", damping, **how), checks=("swing",))
    (swing,) = [check for check in report.checks if check.check == "swing"]
    true = true_margin(damping, **how)
    assert swing.low <= true
    assert swing.value == pytest.approx(true, rel=0.05)
