"""Whether the part has stopped swinging when it is placed."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.interpolate import PPoly

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.swing.settle import Placing, farthest, result_of, settling_time
from gripmargin.checks.swing.settle import run as settle_check

DOWN = np.diag([1.0, -1.0, -1.0])
STIFFNESS, SIZE, MASS = 2e7, 0.04, 0.5
W = np.sqrt(STIFFNESS * SIZE**2 / MASS)  # of the pull, 252.98 rad/s
STEP = 1.5  # [m/s^2]
PUSH = (gm.Process(start=0.5, end=0.58, force=(0, 0, 3.0), at=(0, 0, 0)),)


def result(report, name="settle"):
    return next(check for check in report.checks if check.check == name)


def job(gantry, damping=0.05, tolerance=0.01e-3, wait=0.2, *, step=0.001, release=True, axes=(2,)):
    """A part is moved at a steady acceleration, braked and left to hang; the program then lets it go."""
    t = np.arange(0.0, 0.6 + wait, step)
    a = STEP * (((t >= 0.2) & (t < 0.29)).astype(float) - ((t >= 0.29) & (t < 0.38)))
    up, down = np.clip(t - 0.2, 0, 0.09), np.clip(t - 0.29, 0, 0.09)
    v = STEP * (up - down)
    z = STEP * (up**2 / 2 + 0.09 * down - down**2 / 2)
    columns = np.zeros((3, t.size, 4))
    for axis in axes:
        columns[:, :, axis] = z, v, a
    material = gm.PadMaterial(
        pull_off_stress=5e4,
        shear_strength=5e4,
        normal_stiffness=STIFFNESS,
        shear_stiffness=STIFFNESS / 3,
        damping_ratio=damping,
    )
    end = 0.38 + wait
    phases = [gm.Phase(kind="carry", start=0.0, end=end)]
    if release:
        phases.append(gm.Phase(kind="release", start=end, end=0.6 + wait))
    return gm.Job(
        name="lift",
        robot=gantry,
        trajectory=gm.JointTrajectory(t=t, q=columns[0], qd=columns[1], qdd=columns[2]),
        gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", material, [SIZE, SIZE]),)),
        part=gm.Part(face="plane", rigid=True, mass=MASS, com=[0, 0, 0], inertia=[1e-6, 1e-6, 1e-6, 0, 0, 0]),
        phases=tuple(phases),
        nest=gm.Nest(
            face=gm.pose(columns[0, -1, :3], (0, 0, 0)),
            tolerance=tolerance,
            hold_down=100.0,
            lateral_force=100.0,
            moment=10.0,
        ),
    )


def ring(damping, wait, w=W):
    """Amplitude that three steps of a, -2a and a leave a time after the last [m] (superposition of free vibrations)."""
    turn = w * np.sqrt(1 - damping**2)
    total = sum(
        height * np.exp((-damping * w + 1j * turn) * since)
        for height, since in ((1.0, wait + 0.18), (-2.0, wait + 0.09), (1.0, wait))
    )
    return STEP / w**2 / np.sqrt(1 - damping**2) * abs(total)


@pytest.mark.parametrize("share", [0.8, 1.25])
def test_swings_square_to_each_other_add_as_the_sides_of_a_triangle(gantry, share):
    """A diagonal stop: two equal slides, whose ways are square to each other."""
    due = np.sqrt(2) * ring(0.05, 0.2, W / np.sqrt(3))
    (settle,) = settle_check(work_out(job(gantry, 0.05, share * due, axes=(0, 1)))).results
    assert settle.details["amplitude"] == pytest.approx(due, rel=0.05)
    assert settle.verdict == ("pass" if share > 1 else "fail")


def test_a_farthest_corner_is_where_the_modes_have_the_signs_that_bring_it_there():
    random = np.random.default_rng(1)
    ways = random.normal(size=(3, 3, 4))
    phases = np.cos(random.uniform(0, 2 * np.pi, (4, 200_000)))
    seen = np.linalg.norm(np.einsum("cam,mp->cap", ways, phases), axis=1).max(axis=1)
    assert (seen <= farthest(ways) + 1e-12).all()
    assert (seen > 0.95 * farthest(ways)).all()


def test_a_plate_that_bends_settles_as_the_slower_one_does(gantry):
    """Its pull is at a lower frequency, so it swings further than a rigid one."""
    moments = MASS / 12 * 0.3**2 * np.array([1, 1, 2])
    glass = {"outline": [[-0.15, -0.15], [0.15, -0.15], [0.15, 0.15], [-0.15, 0.15]], "thickness": 0.003}
    sheet = gm.Part(face="plane", mass=MASS, com=[0, 0, 0.0015], inertia=[*moments, 0, 0, 0], **glass)
    bends = replace(sheet, youngs_modulus=70e9, poissons_ratio=0.22)
    found = {}
    for name, part in (("rigid", replace(sheet, rigid=True)), ("bends", bends)):
        case = work_out(replace(job(gantry, 0.05), part=part))
        found[name] = settle_check(case).results[0].details["amplitude_high"]
    assert found["bends"] > 1.02 * found["rigid"]


def test_a_force_at_the_placing_counts_twice(gantry):
    """One that comes at once moves the part by F/k and swings it by as much (Chopra, ch. 4)."""
    free, pushed = (
        settle_check(work_out(each)).results[0] for each in (job(gantry), replace(job(gantry), process=PUSH))
    )
    more = pushed.details["amplitude_high"] - free.details["amplitude_high"]
    assert more == pytest.approx(2.0 * 3.0 / (STIFFNESS * SIZE**2), rel=1e-3)


def test_how_far_a_force_bends_a_part_is_not_known(gantry):
    """It droops where the force acts, though its pads hold it as a rigid part: a pass of what swings is none."""
    moments = MASS / 12 * 0.3**2 * np.array([1, 1, 2])
    corners = 0.15 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    glass = gm.Part(
        face="plane", mass=MASS, com=[0, 0, 0.0015], inertia=[*moments, 0, 0, 0], outline=corners, thickness=0.003,
        youngs_modulus=70e9, poissons_ratio=0.22,
    )  # fmt: skip
    wide = replace(job(gantry, tolerance=0.1), part=glass)
    for given, verdict in ((wide, "pass"), (replace(wide, process=PUSH), "undecided")):
        assert work_out(given).grip.bonded.sheet is None
        settle = result(gm.check_job(given, checks=["settle"]))
        assert settle.verdict == verdict
        assert ("bends the part where it acts" in " ".join(settle.doubts)) is (verdict == "undecided")


@pytest.mark.parametrize("damping", [0.02, 0.05, 0.2])
def test_amplitude_at_the_placing_against_the_closed_form(gantry, damping):
    report = gm.check_job(job(gantry, damping))
    settle = result(report)
    due = ring(damping, 0.2)
    assert settle.details["amplitude"] == pytest.approx(due, rel=0.08)
    assert settle.details["amplitude"] <= settle.details["amplitude_high"]
    assert due <= settle.details["amplitude_high"] * 1.001
    assert settle.value == pytest.approx(0.01e-3 / settle.details["amplitude"])
    assert settle.details["time_available"] == pytest.approx(0.2, abs=0.005)


def test_settling_time_is_that_of_the_envelope(gantry):
    settle = result(gm.check_job(job(gantry, 0.05)))
    due = np.log(ring(0.05, 0.0) / 0.01e-3) / (0.05 * W)
    assert settle.details["settling_time"] == pytest.approx(due, abs=0.01)


def test_waiting_as_long_as_advised_is_enough(gantry):
    hasty = job(gantry, 0.05, wait=0.03)
    report = gm.check_job(hasty)
    assert result(report).verdict == "fail"
    assert report.verdict == "fail"
    (finding,) = [f for f in report.findings if f.check == "settle"]
    (remedy,) = finding.remedies
    assert remedy.action == "wait"
    wait = 0.03 + remedy.figures["wait"]
    assert result(gm.check_job(job(gantry, 0.05, wait=wait + 0.002))).verdict == "pass"
    assert result(gm.check_job(job(gantry, 0.05, wait=wait - 0.04))).verdict != "pass"
    text = " ".join(gm.report_text(report).split())
    assert remedy.text in text
    assert " ".join(finding.text.split()) in text


def test_undamped_it_never_settles(gantry):
    report = gm.check_job(job(gantry, None, wait=0.5))
    settle = result(report)
    assert settle.verdict == "fail"
    assert settle.details["settling_time"] is None
    assert not settle.details["settles"]
    assert any("never dies down" in line for line in settle.lines)
    (finding,) = [f for f in report.findings if f.check == "settle"]
    assert "no wait is long enough" in finding.remedy


def test_a_target_of_its_own(gantry):
    case = job(gantry, 0.05)
    low = result(gm.check_job(case)).low
    for target, verdict in ((0.98 * low, "pass"), (1.5 * low, "fail")):
        report = gm.check_job(replace(case, targets=gm.Targets(settle=target)))
        assert result(report).target == target
        assert result(report).verdict in ((verdict,) if verdict == "pass" else ("fail", "undecided"))
        assert f"settle {target:g}" in " ".join(report.assumed)


def test_less_tolerance_or_less_damping_is_never_better(gantry):
    ratios = [result(gm.check_job(job(gantry, 0.05, tolerance))).low for tolerance in (1e-6, 1e-5, 1e-4)]
    assert ratios == sorted(ratios)
    ratios = [result(gm.check_job(job(gantry, damping))).low for damping in (0.01, 0.05, 0.2)]
    assert ratios == sorted(ratios)


def test_without_a_tolerance_or_a_nest_it_is_not_checked(gantry):
    case = job(gantry)
    for nest, reason in (
        (None, "the job has no [nest]"),
        (replace(case.nest, tolerance=None), "nest.tolerance is not given"),
    ):
        report = gm.check_job(replace(case, nest=nest))
        assert all(check.check != "settle" for check in report.checks)
        assert next(item for item in report.not_checked if item.check == "settle").reason == reason


def test_a_tolerance_without_a_placing_is_undecided(gantry):
    assert result(gm.check_job(job(gantry, release=False))).verdict == "undecided"


@pytest.mark.parametrize("end", [0.2, 0.2013, 0.2027])
def test_a_carry_that_ends_between_two_rows_is_placed_as_one_that_ends_on_a_row(gantry, end):
    """The brake fades to nothing at `end`; where that is no row a sample is put in, after the last row of the carry."""
    case = job(gantry, 0.05, step=0.004)
    t = case.trajectory.t[:100]
    left, moves = np.clip(end - t, 0.0, None), ["lower" if x < 0.2 + 1e-9 else "seat" for x in t]
    q, qd, qdd = np.zeros((3, t.size, 4))
    q[:, 2], qd[:, 2], qdd[:, 2] = -(left**3) / 3, left**2, -2 * left
    program = gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd, moves=moves)
    phases = (gm.Phase(kind="carry", moves=("lower",)), gm.Phase(kind="release", moves=("seat",)))
    (settle,) = settle_check(work_out(replace(case, trajectory=program, phases=phases))).results
    assert settle.verdict == "pass"
    assert settle.at.t == pytest.approx(0.2)


def test_a_program_that_is_not_known_is_undecided(gantry):
    case = job(gantry, 0.05)
    t = case.trajectory.t[::4]
    keep = (t < 0.25) | (t > 0.36)
    gappy = replace(case, trajectory=gm.JointTrajectory(t=t[keep], q=case.trajectory.q[::4][keep]))
    assert result(gm.check_job(gappy)).verdict == "undecided"


def test_each_figure_of_several_placings_has_its_own_place(gantry):
    """One placing surely falls short, another is not known at all: that is a failure."""
    none = np.zeros((1, 3, 1))
    more = {"stop": None, "spread": 0.0, "own": none, "at_stop": none, "rates": np.zeros(1)}
    short = Placing(sample=100, amplitude=3e-5, low=2.9e-5, high=3.1e-5, **more)
    unknown = Placing(sample=200, amplitude=1e-5, low=0.0, high=np.inf, **more)
    case = work_out(job(gantry))
    for found in ((short, unknown), (unknown, short)):
        settle = result_of(case, list(found), 1e-5, 1.0)
        assert (settle.verdict, settle.at.sample, settle.low_at.sample) == ("fail", 100, 200)
        assert (settle.value, settle.low) == (pytest.approx(1 / 3), 0.0)
        assert settle.high == pytest.approx(1 / 2.9)
    nan = replace(short, amplitude=np.nan, low=np.nan, high=np.nan)
    assert result_of(case, [unknown, nan], 1e-5, 1.0).verdict == "undecided"


@pytest.mark.parametrize("tolerance", [0.0, -1e-3, np.nan, np.inf])
def test_a_tolerance_that_there_is_not(tolerance):
    with pytest.raises(gm.InputError, match=r"nest\.tolerance"):
        gm.Nest(face=np.eye(4), tolerance=tolerance)


def test_time_to_die_down():
    amplitudes, rates = np.array([[[1.0, 0.0]], [[0.0, 0.5]]]), np.array([2.0, 1.0])
    assert settling_time(amplitudes, rates, 0.1) == pytest.approx(np.log(5.0))
    assert settling_time(amplitudes, rates, 2.0) == 0.0
    assert settling_time(amplitudes, np.zeros(2), 0.1) == np.inf
    assert settling_time(np.array([[[np.nan]]]), np.ones(1), 0.1) == np.inf


def test_a_wait_of_more_than_a_minute_is_none():
    for time, due in ((40.0, 40.0), (90.0, np.inf)):
        assert settling_time(np.array([[[1.0]]]), np.array([1.0 / time]), np.exp(-1.0)) == pytest.approx(due)


class TestLastStop:
    """Where waiting counts from: ends of a program of 0.1 m/s and 0.5 m/s^2 with known shares of both."""

    FAST = ((0.2, 0.0, 0.0), (0.2, 0.5, 0.5), (0.2, 0.0, 0.0))  # duration [s], acceleration at start and end [m/s^2]
    BRAKES = 0.6

    def last_stop(self, gantry, *ends, step=5e-4):
        pieces = [*self.FAST, *ends, (0.1, 0.0, 0.0)]
        lasts, first, last = np.array(pieces).T
        law = PPoly(np.stack([(last - first) / lasts, first]), np.concatenate([[0.0], np.cumsum(lasts)]))
        t = (np.arange(round(float(lasts.sum()) / step)) + 0.5) * step  # jumps lie between samples
        columns = np.zeros((3, t.size, 4))
        columns[:, :, 2] = law.antiderivative(2)(t), law.antiderivative()(t), law(t)
        end = float(t[-1]) - 0.1
        known = job(gantry)
        report = gm.check_job(
            replace(
                known,
                trajectory=gm.JointTrajectory(t=t, q=columns[0], qd=columns[1], qdd=columns[2]),
                phases=(gm.Phase(kind="carry", start=0.0, end=end), gm.Phase(kind="release", start=end, end=end + 0.1)),
                nest=replace(known.nest, face=gm.pose((0, 0, columns[0, -1, 2]), (0, 0, 0))),
            )
        )
        return result(report).details["last_stop"]

    @pytest.mark.parametrize(("share", "rests"), [(0.007, True), (0.014, False)])
    def test_a_hundredth_of_the_speed_is_rest(self, gantry, share, rests):
        braking = 0.2 * (1 - share)
        stop = self.last_stop(gantry, (braking, -0.5, -0.5), (0.4, 0.0, 0.0))
        assert stop == (pytest.approx(self.BRAKES + braking, abs=0.002) if rests else None)

    def test_braking_ends_at_a_two_hundredth_of_the_load(self, gantry):
        """Braking fades in a straight line over 0.2 s: at that share 1 ms before its end."""
        stop = self.last_stop(gantry, (0.1, -0.5, -0.5), (0.2, -0.5, 0.0), (0.1, 0.0, 0.0), step=1e-4)
        assert self.BRAKES + 0.3 - stop == pytest.approx(0.001, abs=0.0003)

    @pytest.mark.parametrize(("pause", "counts"), [(0.035, False), (0.07, True)])
    def test_a_short_rest_at_the_end_belongs_to_the_way_down(self, gantry, pause, counts):
        stop, down = (0.2, -0.5, -0.5), ((0.1, 0.0, 0.0), (0.1, 0.5, 0.5), (0.1, -0.5, -0.5))
        found = self.last_stop(gantry, stop, *down, (pause, 0.0, 0.0))
        assert found == pytest.approx(self.BRAKES + (0.5 if counts else 0.2), abs=0.002)
