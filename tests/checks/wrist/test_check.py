"""The load at the flange: by hand, beside MuJoCo, and attacked."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.wrist.check import WRIST
from gripmargin.checks.wrist.limits import Wrist
from gripmargin.workcell import STANDARD_GRAVITY
from support.pushed import SIZE, lowered, push

G = 9.80665
FILM = gm.PadMaterial(name="film", pull_off_stress=5e5, shear_strength=5e5, normal_stiffness=1e8, shear_stiffness=3e7)
CENTRE = gm.pose(xyz=[0.0, 0.0, -0.2])  # the tool frame lies 200 mm in front of the wrist's centre
GENEROUS = {"payload": 10.0, "moment": [20.0, 20.0, 20.0], "inertia": [1.0, 1.0, 1.0]}


def arm(tool=(0.0, 0.0, 0.1)):
    """Three axes that meet: about x, y and z of the flange's frame at zero, the flange 100 mm in front of them."""
    return gm.chain_from_axes(
        [gm.pose(xyz=[0.3, 0.0, 0.5]), np.eye(4), np.eye(4)],
        [(1, 0, 0), (0, 1, 0), (0, 0, 1)],
        [True] * 3,
        gm.pose(xyz=[0.0, 0.0, 0.1]) @ gm.pose(xyz=tool),
    )


def still(q=(0.0, 0.0, 0.0), n=9):
    q = np.tile(np.asarray(q, dtype=float), (n, 1))
    return gm.JointTrajectory(t=0.1 * np.arange(n), q=q, qd=0 * q, qdd=0 * q)


def poses(n=9):
    return gm.PoseTrajectory(
        t=0.1 * np.arange(n),
        position=np.zeros((n, 3)),
        rotation=np.broadcast_to(np.diag([1.0, -1.0, -1.0]), (n, 3, 3)),
    )


def body(**given):
    """A gripper of 2 kg, 60 mm behind the pads, as a solid cuboid of 80 x 80 x 100 mm unless told otherwise."""
    moments = 2.0 / 12 * np.array([0.08**2 + 0.1**2, 0.08**2 + 0.1**2, 2 * 0.08**2])
    known = {"mass": 2.0, "com": [0.0, 0.0, -0.06], "inertia": [*moments, 0, 0, 0]} | given
    return gm.Gripper(pads=(gm.Pad.rectangle("pad", FILM, [0.05, 0.05]),), **known)


def part(mass=1.0, com=(0.03, 0.0, 0.01)):
    return gm.Part(face="plane", rigid=True, mass=mass, com=com, inertia=[2e-3, 3e-3, 4e-3, 0, 0, 0])


def job(*, flange=None, trajectory=None, **given):
    trajectory = still() if trajectory is None else trajectory
    known = {
        "name": "flange",
        "gripper": body(),
        "part": part(),
        "trajectory": trajectory,
        "robot": arm() if isinstance(trajectory, gm.JointTrajectory) else None,
        "flange": gm.Flange(**(GENEROUS | (flange or {}))),
        "accept": ("from_below",),  # the arm stands upright at zero
    }
    return gm.Job(**(known | given))


def outcome(made):
    return WRIST.answer(work_out(made))


def result(made):
    (found,) = outcome(made).results
    return found


def asked(found, kind, axis):
    (entry,) = [e for e in found.details["limits"] if (e["limit"], e["axis"]) == (kind, axis)]
    return entry["asked"]


def test_by_hand():
    """Statics and parallel axes, worked out on paper for axes along x, y and z through the wrist's centre."""
    found = result(job())
    # from the wrist's centre: gripper 2 kg at (0, 0, 140 mm), part 1 kg at (30, 0, 210 mm); together at (10, 0, 163.3)
    x, z = 0.01, (2 * 0.14 + 0.21) / 3
    assert asked(found, "payload", None) == pytest.approx(3.0)
    assert asked(found, "moment", "axis 1") == pytest.approx(3 * G * z)
    assert asked(found, "moment", "axis 2") == pytest.approx(3 * G * np.hypot(x, z))
    assert asked(found, "moment", "axis 3") == pytest.approx(3 * G * x)
    own = 2.0 / 12 * (0.08**2 + 0.1**2)
    assert asked(found, "inertia", "axis 1") == pytest.approx(own + 2 * 0.14**2 + 2e-3 + 0.21**2)
    assert asked(found, "inertia", "axis 2") == pytest.approx(own + 2 * 0.14**2 + 3e-3 + 0.03**2 + 0.21**2)
    assert asked(found, "inertia", "axis 3") == pytest.approx(2.0 / 12 * 2 * 0.08**2 + 4e-3 + 0.03**2)
    assert found.verdict == "pass"
    assert found.value == pytest.approx(10.0 / 3.0)


def test_poses_bound_what_joints_know():
    """A wrist told by its centre asks at least what any stand of the same wrist in joints asks, and no more than
    the worst of many.
    """
    upper = result(job(trajectory=poses(), flange={"wrist": CENTRE}))
    names = dict(zip(("axis 1", "axis 2", "axis 3"), ("third last axis", "second last axis", "last axis"), strict=True))
    stands = np.random.default_rng(2).uniform(-np.pi, np.pi, (40, 3))
    turned = [result(job(trajectory=still(q, n=3))) for q in stands]
    for kind in ("moment", "inertia"):
        for axis, name in names.items():
            largest = max(asked(found, kind, axis) for found in turned)
            bound = asked(upper, kind, name)
            assert 0.95 * bound < largest <= bound * (1 + 1e-12)


def test_no_static_torque_in_mujoco_exceeds_the_moment(mujoco_sensors):
    """The torque sensor at the tool, moved to the axis, under gravity every way."""
    q = np.array([0.4, -0.7, 1.1])
    found = result(job(trajectory=still(q)))
    largest = np.zeros(3)
    for direction in np.random.default_rng(3).normal(size=(120, 3)):
        gravity = G * direction / np.linalg.norm(direction)
        read = mujoco_sensors(arm(), whole(), gravity)(q, np.zeros(3), np.zeros(3))
        largest = np.maximum(largest, np.abs(about_axes(q, read["force"], read["torque"])))
    for i in range(3):
        moment = asked(found, "moment", f"axis {i + 1}")
        assert largest[i] <= moment * (1 + 1e-9)
        assert largest[i] > 0.95 * moment


def test_the_frame_of_the_tool_does_not_matter():
    """The same bodies on the same wrist, told in a tool frame that is turned and moved."""
    move = gm.pose(xyz=[0.02, -0.01, 0.03], rpy=[0.1, 0.2, 0.3])
    back = np.linalg.inv(move)
    turn = back[:3, :3]

    def seen(com, inertia):
        return {"com": turn @ com + back[:3, 3], "inertia": turn @ inertia @ turn.T}

    q = [0.3, 0.5, -0.8]
    here = result(job(trajectory=still(q)))
    there = result(
        job(
            trajectory=still(q),
            robot=arm().mounted(tool=move),
            gripper=replace(body(), **seen(body().com, body().inertia)),
            part=replace(part(), **seen(part().com, part().inertia)),
        )
    )
    for a, b in zip(here.details["limits"], there.details["limits"], strict=True):
        assert a["asked"] == pytest.approx(b["asked"], rel=1e-12)


@pytest.mark.parametrize(
    "limit", [("payload", 3.0), ("moment", 3 * G * 0.01), ("inertia", 2.0 / 12 * 2 * 0.08**2 + 4e-3 + 0.03**2)]
)
def test_just_on_and_just_below_a_rated_value(limit):
    kind, value = limit

    def given(rated):
        return {kind: rated if kind == "payload" else [rated]}

    assert result(job(flange=given(value * (1 + 1e-9)))).verdict == "pass"
    found = outcome(job(flange=given(value * (1 - 1e-9))))
    assert found.results[0].verdict == "fail"
    assert found.findings[0].worst["limit"] == kind
    assert result(job(flange=given(value), targets=gm.Targets(flange=1.2))).verdict == "fail"


@pytest.mark.parametrize(
    ("gripper", "reason"),
    [
        ({"mass": None, "com": None, "inertia": None}, "gripper.mass is not given"),
        ({"com": None, "inertia": None}, "gripper.com is not given"),
        ({"inertia": None}, "gripper.inertia is not given"),
        ({"com": None}, "gripper.com is not given"),
    ],
)
def test_what_is_rated_and_not_known_is_undecided(gripper, reason):
    found = outcome(job(gripper=body(**gripper)))
    assert found.results[0].verdict == "undecided"
    assert any(reason in line for line in found.results[0].lines)
    assert found.findings[0].remedies[0].action == "better data"
    assert found.results[0].low == 0.0


def test_what_is_not_rated_needs_no_data():
    made = job(gripper=body(com=None, inertia=None), flange={"moment": None, "inertia": None})
    found = outcome(made)
    assert found.results[0].verdict == "pass"
    assert [item.check for item in found.not_checked] == ["flange.moment", "flange.inertia"]


def test_a_part_that_is_too_heavy_alone_fails_whatever_the_gripper_weighs():
    found = outcome(job(gripper=body(mass=None, com=None, inertia=None), part=part(mass=11.0)))
    assert found.results[0].verdict == "fail"
    assert found.results[0].value is None
    assert "robot" in {remedy.action for remedy in found.findings[0].remedies}


def test_poses_without_a_wrist_are_undecided():
    found = outcome(job(trajectory=poses()))
    assert found.results[0].verdict == "undecided"
    assert "flange.wrist" in found.findings[0].remedy


def test_poses_between_both_bounds_are_undecided():
    """The second last axis may stand so that the arm is 163 mm or, with the part's offset, a little more."""
    z, whole = 3 * G * 0.49 / 3, 3 * G * np.hypot(0.01, 0.49 / 3)
    for rated, verdict in ((0.999 * z, "fail"), ((z + whole) / 2, "undecided"), (1.001 * whole, "pass")):
        flange = {"wrist": CENTRE, "moment": [rated, 20.0]}
        assert result(job(trajectory=poses(), flange=flange)).verdict == verdict


def test_without_rated_values_it_is_not_checked():
    found = WRIST.answer(work_out(replace(job(), flange=None)))
    assert found.results == ()
    assert found.not_checked[0].check == "flange"


# ---- forces and moments in motion ----


def swinging(n=201, seed=4, rates=True):
    """Two seconds of smooth joint motion with its exact rates."""
    random = np.random.default_rng(seed)
    t = np.linspace(0.0, 2.0, n)
    size, rate, start = random.uniform(0.3, 0.8, 3), random.uniform(2.0, 6.0, 3), random.uniform(0, 6, 3)
    angle = rate * t[:, None] + start
    given = {"qd": size * rate * np.cos(angle), "qdd": -size * rate**2 * np.sin(angle)} if rates else {}
    return gm.JointTrajectory(t=t, q=size * np.sin(angle), **given)


def whole():
    """Gripper and part as one part."""
    gripper, held = body(), part()
    apart = held.com - gripper.com
    return gm.Part(
        face="plane",
        rigid=True,
        mass=3.0,
        com=(2 * gripper.com + held.com) / 3,
        inertia=gripper.inertia + held.inertia + 2 / 3 * (apart @ apart * np.eye(3) - np.outer(apart, apart)),
    )


def about_axes(q, force, torque):
    """Moments of a load at the tool, in its axes, about the three axes of the arm."""
    point, found = np.eye(4), []
    for link, angle in zip(arm().links, q, strict=False):
        point = point @ link
        found.append((point[:3, 2].copy(), point[:3, 3].copy()))
        point = point @ gm.pose(rpy=[0, 0, angle])
    tool = point @ arm().links[-1]
    force, torque = tool[:3, :3] @ force, tool[:3, :3] @ torque
    return np.array([axis @ (torque + np.cross(tool[:3, 3] - at, force)) for axis, at in found])


PEAK = {"peak_force": 1e3, "peak_moment": [1e3, 1e3, 1e3]}


def test_a_lift_by_hand():
    """A lift straight up at constant acceleration a: force M (g + a), and times its arm about the last axis."""
    t = np.linspace(0.0, 1.0, 501)
    position = np.column_stack([0 * t, 0 * t, 2.0 * t**2])  # a = 4 m/s^2
    turned = np.array([[0.0, 0.0, -1.0], [0.0, 1.0, 0.0], [1.0, 0.0, 0.0]])  # the tool's x axis points up
    lift = gm.PoseTrajectory(t=t, position=position, rotation=np.broadcast_to(turned.T, (501, 3, 3)))
    sideways = gm.PoseTrajectory(t=t, position=position, rotation=np.broadcast_to(np.diag([1.0, -1, -1]), (501, 3, 3)))
    for trajectory in (lift, sideways):
        found = result(job(trajectory=trajectory, flange=PEAK | {"wrist": CENTRE}))
        assert asked(found, "peak_force", None) == pytest.approx(3 * (G + 4.0), rel=1e-6)
    # with the tool upright nothing turns about the last axis, lying on its side the offset does
    assert asked(found, "peak_moment", "last axis") == pytest.approx(0.0, abs=1e-6)
    assert asked(found, "peak_moment", "second last axis") == pytest.approx(3 * (G + 4.0) * 0.01, rel=1e-6)


def test_forces_and_moments_in_motion_are_those_of_mujoco(mujoco_sensors):
    trajectory = swinging()
    read = mujoco_sensors(arm(), whole(), [0.0, 0.0, -G])
    forces, moments = [], []
    for q, qd, qdd in zip(trajectory.q, trajectory.qd, trajectory.qdd, strict=True):
        at = read(q, qd, qdd)
        forces.append(np.linalg.norm(at["force"]))
        moments.append(np.abs(about_axes(q, at["force"], at["torque"])))
    found = result(job(trajectory=trajectory, flange=PEAK))
    assert asked(found, "peak_force", None) == pytest.approx(max(forces), rel=1e-9)
    for i, moment in enumerate(np.max(moments, axis=0)):
        assert asked(found, "peak_moment", f"axis {i + 1}") == pytest.approx(moment, rel=1e-9)


@pytest.mark.parametrize("rates", [True, False])
@pytest.mark.parametrize("n", [26, 101, 401])
@pytest.mark.parametrize("seed", range(3))
def test_no_peak_of_the_true_motion_is_missed(n, seed, rates):
    """Sampled coarsely or finely, with rates or without: what a dense sampling shows lies below what is said."""
    true = result(job(trajectory=swinging(8001, seed), flange=PEAK))
    found = result(job(trajectory=swinging(n, seed, rates), flange=PEAK))
    for kind, axis in (("peak_force", None), *(("peak_moment", f"axis {i}") for i in (1, 2, 3))):
        (entry,) = [e for e in found.details["limits"] if (e["limit"], e["axis"]) == (kind, axis)]
        most = np.inf if entry["asked_most"] is None else entry["asked_most"]
        assert asked(true, kind, axis) <= most * (1 + 1e-6)
        if n == 401 and rates:
            assert most < 1.02 * asked(true, kind, axis)


def test_slowing_is_enough():
    trajectory = swinging()
    peak = asked(result(job(trajectory=trajectory, flange=PEAK)), "peak_force", None)
    made = job(trajectory=trajectory, flange={"peak_force": (3 * G + peak) / 2})
    (finding,) = outcome(made).findings
    (slow,) = [remedy for remedy in finding.remedies if remedy.action == "slow"]
    for k, verdict in ((slow.figures["factor"], "pass"), (slow.figures["factor"] + 0.03, "fail")):
        slower = replace(trajectory, t=trajectory.t / k, qd=k * trajectory.qd, qdd=k**2 * trajectory.qdd)
        assert result(replace(made, trajectory=slower)).verdict == verdict
    standing = job(trajectory=trajectory, flange={"peak_force": 0.9 * 3 * G})
    assert "slow" not in {remedy.action for remedy in outcome(standing).findings[0].remedies}


def test_a_moment_in_motion_needs_the_gripper_as_a_whole():
    found = outcome(job(gripper=body(inertia=None), flange={"inertia": None, "peak_moment": [50.0]}))
    assert found.results[0].verdict == "undecided"
    assert (
        outcome(job(gripper=body(inertia=None), flange={"inertia": None, "peak_force": 50.0})).results[0].verdict
        == "pass"
    )


def test_a_gap_in_motion_is_no_pass():
    t = np.array([*np.arange(0, 1, 0.01), *np.arange(2, 3, 0.01)])
    q = np.zeros((t.size, 3))
    q[:, 1] = np.where(t < 1.5, 1.2, 1.3)
    made = job(trajectory=gm.JointTrajectory(t=t, q=q), flange={"moment": None, "inertia": None, "peak_force": 1e6})
    assert result(made).verdict == "undecided"


# ---- attacks: programs that must not pass ----


def carried_in_part():
    """Nine samples; the part hangs on the pads in the later ones only."""
    return (gm.Phase(kind="carry", start=0.5, end=0.8),)


def test_the_gripper_alone_counts_where_there_is_no_part():
    """A part that balances the gripper does not hide what the gripper asks before the pick."""
    heavy = body(com=[-0.05, 0.0, -0.06])
    balancing = part(mass=2.0, com=(0.05, 0.0, 0.0))
    made = job(gripper=heavy, part=balancing, flange={"moment": [0.5]}, phases=carried_in_part())
    found = result(made)
    assert found.verdict == "fail"
    assert asked(found, "moment", "axis 3") == pytest.approx(2 * G * 0.05)
    assert found.at.t < 0.5


def test_a_part_taken_between_two_samples_is_no_pass():
    """The carry begins just after a sample at which the wrist is straight; at the next one it is bent."""
    t = 0.1 * np.arange(9)
    q = np.zeros((9, 3))
    q[:, 1] = 3.0 * (t - 0.4)
    straight = 3 * G * 0.49 / 3
    made = job(
        trajectory=gm.JointTrajectory(t=t, q=q),
        flange={"moment": [0.985 * straight, 20.0, 20.0]},
        phases=(gm.Phase(kind="carry", start=0.41, end=0.8),),
    )
    found = result(made)
    assert found.verdict == "fail"


def test_no_gravity_is_no_pass():
    weightless = job(gravity=np.zeros(3), flange={"moment": [3 * G * 0.0099]})
    assert result(weightless).verdict == "fail"


def test_a_posture_that_hides_the_moment_is_no_pass():
    """With the axis upright gravity has no torque about it; the weight still hangs off it."""
    upright = job(flange={"moment": [3 * G * 0.0099]})
    assert result(upright).verdict == "fail"


def test_a_peak_between_two_sparse_samples_is_no_pass():
    """The arm about axis 1 is longest halfway between two samples: 0.4 rad either side of it."""
    q = np.zeros((9, 3))
    q[:, 1] = np.where(np.arange(9) % 2 == 0, -0.4, 0.4)
    most = 3 * G * 0.49 / 3
    made = job(trajectory=gm.JointTrajectory(t=np.arange(9.0), q=q), flange={"moment": [0.99 * most, 20.0, 20.0]})
    found = result(made)
    assert asked(found, "moment", "axis 1") < 0.95 * most
    assert found.verdict == "undecided"


def test_a_gap_in_the_record_is_no_pass():
    """Nobody knows how the wrist stood while no sample was taken."""
    t = np.array([*np.arange(0, 1, 0.01), *np.arange(2, 3, 0.01)])
    q = np.zeros((t.size, 3))
    q[:, 1] = np.where(t < 1.5, 1.2, 1.3)
    moment = asked(result(job(trajectory=still([0, 1.3, 0]))), "moment", "axis 1")
    made = job(trajectory=gm.JointTrajectory(t=t, q=q), flange={"moment": [2 * moment, 20.0, 20.0]})
    assert work_out(made).motion.doubtful.size > 0
    assert result(made).verdict == "undecided"


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: gm.Flange(payload=float("nan")), "flange.payload"),
        (lambda: gm.Flange(payload=-1.0), "flange.payload"),
        (lambda: gm.Flange(payload=1.0, moment=[1.0, float("nan")]), "flange.moment"),
        (lambda: gm.Flange(payload=1.0, inertia=[0.0]), "flange.inertia"),
        (lambda: gm.Flange(payload=1.0, inertia=[]), "flange.inertia"),
        (lambda: gm.Flange(payload=1.0, peak_force=float("nan")), "flange.peak_force"),
        (lambda: gm.Flange(payload=1.0, peak_moment=[-1.0]), "flange.peak_moment"),
        (lambda: body(mass=float("nan")), "gripper.mass"),
        (lambda: body(com=[0.0, float("inf"), 0.0]), "gripper.com"),
        (lambda: body(inertia=np.diag([1.0, 1.0, 3.0])), "gripper.inertia"),
        (lambda: body(mass=None), "gripper.mass"),
        (lambda: gm.Targets(flange=float("nan")), "targets.flange"),
        (lambda: job(trajectory=poses(), flange={"moment": [1.0] * 4}), "flange.moment"),
    ],
)
def test_bad_values_are_refused(make, says):
    with pytest.raises(gm.InputError, match=says):
        make()


# ---- remedies: each one, done, is enough ----


def test_remedies_are_enough():
    made = job(flange={"moment": [20.0, 20.0, 0.2]})
    (finding,) = outcome(made).findings
    actions = {remedy.action: remedy.figures for remedy in finding.remedies}
    assert set(actions) == {"shift part", "lighten", "robot"}
    shift = np.array([actions["shift part"]["x"], actions["shift part"]["y"], 0.0])
    # 3 kg may hang 0.2 / (3 g) = 6.8 mm off the axis; the part's share of the mass is a third
    assert shift[0] == pytest.approx(-3 * (0.01 - 0.2 / (3 * G)), abs=1e-3)
    assert abs(shift[1]) <= 1e-3
    assert result(replace(made, part=replace(made.part, com=made.part.com + shift))).verdict == "pass"
    less = actions["lighten"]["mass"] / 3.0
    lighter = replace(
        made,
        gripper=body(mass=2.0 * less, inertia=less * body().inertia),
        part=replace(part(), mass=less, inertia=less * part().inertia),
    )
    assert result(lighter).verdict == "pass"
    assert (
        result(replace(made, flange=gm.Flange(payload=10.0, moment=[actions["robot"]["factor"] * 0.2]))).verdict
        == "pass"
    )


def offset(x):
    """A gripper off the last axis by x [m], with a moment rated for 50 mm of the 3 kg that it has with the part."""
    made = job(gripper=body(com=[x, 0.0, -0.06]), flange={"moment": [20.0, 20.0, 3 * G * 0.05]})
    (finding,) = outcome(made).findings
    return {remedy.action: remedy.figures for remedy in finding.remedies}


def test_a_part_is_not_gripped_half_a_metre_off():
    """2 kg at x and the part's 1 kg at 0.03 m + d hang 50 mm off the axis at 2 x + 0.03 m + d = 0.15 m."""
    assert offset(0.3)["shift part"]["x"] == pytest.approx(-0.48, abs=2e-3)
    assert "shift part" not in offset(0.35)


def test_what_rounding_leaves_is_nothing():
    """A centre of mass on the axis."""
    made = job(part=part(com=(0.0, 0.0, 0.01)), trajectory=still((0.3, 0.4, 0.5)))
    (entry,) = [e for e in result(made).details["limits"] if (e["limit"], e["axis"]) == ("moment", "axis 3")]
    assert entry["asked"] == entry["asked_most"] == 0.0
    assert entry["ratio"] is None


def test_what_swings_on_after_a_force_has_gone_pulls_at_the_flange():
    """By hand: 20 N that came at once and rest leave a swing of 20 N, damped by exp(-z w t) 30 ms after it went.

    w = sqrt(k / m), k = 1e8 N/m^3 of 16 cm^2, m 0.2 kg, z 0.02: twice as much where the push met a swing of its own.
    """
    made = lowered(push((0, 0, 20.0)), damping=0.02, flange=gm.Flange(payload=3.0, peak_force=100.0))
    case = work_out(replace(made, gripper=replace(made.gripper, mass=0.5, com=[0, 0, 0])))
    k = int(np.argmin(np.abs(case.job.trajectory.t - 1.23)))
    left = 20.0 * np.exp(-0.02 * np.sqrt(1e8 * SIZE**2 / 0.2) * (case.job.trajectory.t[k] - 1.2))
    weight = 0.7 * STANDARD_GRAVITY
    found = {limit.kind: limit for limit in Wrist(case, case.job.flange).limits()}
    most = found["peak_force"].most[k] - weight
    assert left < most < 2.5 * left
    assert found["peak_force"].most[50] < weight + 1.0  # of its way down
