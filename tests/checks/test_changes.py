"""Jobs with one thing changed."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks import changes
from gripmargin.workcell.scaling import scaled
from support.handed import Handed, plate_job
from support.pushed import lowered, push


@pytest.fixture
def job():
    return Handed(plate_job()).made(kind="torsion", travel=0.3)


def test_a_stronger_face_parts_with_more_energy(job):
    """sigma = sqrt(2 k G): twice the stress is four times the energy, and as much on a backing four times as stiff."""
    (pad, _), film = job.gripper.pads, replace(job.gripper.pads[0].material, peel_energy=2.0)
    job = replace(job, gripper=gm.Gripper(pads=(replace(pad, material=film),)))
    limit = film.limiting_pull_off_stress
    stronger, stiffer = changes.stronger(job, 2.0), changes.stiffer(job, 4.0)
    assert stronger.gripper.pads[0].material.limiting_pull_off_stress == pytest.approx(2.0 * limit)
    assert stiffer.gripper.pads[0].material.limiting_pull_off_stress == pytest.approx(limit)
    assert stiffer.gripper.pads[0].material.shear_stiffness == pytest.approx(4.0 * film.shear_stiffness)


def test_larger_pads_keep_the_gripper(job):
    job = replace(job, gripper=replace(job.gripper, mass=2.0, cycles_since_cleaning=7.0))
    larger = changes.resized(job, 1.2)
    assert (larger.gripper.mass, larger.gripper.cycles_since_cleaning) == (2.0, 7.0)
    assert np.ptp(larger.gripper.pads[0].outline, axis=0) == pytest.approx([0.036, 0.036])


@pytest.mark.parametrize(("part", "says"), [({}, "on each other"), ({"x": 0.05}, "over the edge")])
def test_pads_without_room_are_refused(job, part, says):
    """30 mm squares, 60 mm apart: twice as large they meet; the plate's edge is 5 mm from a pad that lies 50 mm off."""
    if part:
        at = job.gripper.pads[1]
        job = replace(job, gripper=gm.Gripper(pads=(replace(at, pose_in_tool=gm.pose((0.08, 0.0, 0.0))),)))
    with pytest.raises(gm.InputError, match=says):
        changes.resized(job, 2.1)
    assert changes.most_room(job, 3.0) == pytest.approx(2.0 if not part else 0.04 / 0.03, abs=0.002)


def test_a_pad_on_another_plane_is_not_on_it(job):
    first, second = job.gripper.pads
    back = replace(second, pose_in_tool=gm.pose((0.0, 0.0, -0.02)))
    assert changes.most_room(replace(job, gripper=gm.Gripper(pads=(first, back))), 1.3) == 1.3


def test_the_pad_to_spare_is_the_middle_one(job):
    film = job.gripper.pads[0].material
    places = {"a": -0.05, "b": 0.05, "c": 0.0}
    pads = tuple(gm.Pad.rectangle(name, film, [0.02, 0.02], gm.pose((x, 0, 0))) for name, x in places.items())
    job = replace(job, gripper=gm.Gripper(pads=pads))
    assert changes.spared_pad(job) == 2
    assert [pad.name for pad in changes.without_pad(job, 2).gripper.pads] == ["a", "b"]
    assert changes.spared_pad(changes.without_pad(job, 2)) is None


def test_a_softer_stop_takes_longer_and_further(job):
    measured = (gm.StopFigure(speed=1.0, time=0.2, axis=1, distance=0.1),)
    job = replace(job, stop=gm.Stop(measured=measured, axis_deceleration=[4.0]))
    stop = changes.softer_stop(job, 2.0).stop
    assert (stop.measured[0].time, stop.measured[0].distance, stop.axis_deceleration[0]) == (0.4, 0.2, 2.0)
    with pytest.raises(gm.InputError):
        changes.softer_stop(replace(job, stop=None), 2.0)


def test_a_nearer_face_is_a_deeper_press():
    face = gm.pose((0.1, 0.2, 0.3), (0.0, 0.5, 0.0))
    nearer = changes.deeper(face, 0.01)
    assert nearer[:3, 3] - face[:3, 3] == pytest.approx(0.01 * np.array([np.sin(0.5), 0.0, np.cos(0.5)]))
    assert (nearer[:3, :3] == face[:3, :3]).all()


def test_a_face_is_turned_about_the_pads():
    """By the right hand about x: y goes to z; the point it is turned about stays where it is on it."""
    place = np.array([0.1, 0.0, 0.05])
    turned = changes.levelled(np.eye(4), place, np.array([1.0, 0.0, 0.0]), np.pi / 2)
    assert turned[:3, 1] == pytest.approx([0, 0, 1], abs=1e-12)
    assert np.linalg.solve(turned, [*place, 1.0])[:3] == pytest.approx(place)


def test_a_pause_moves_what_follows(job):
    """At the deepest sample: the touch is as it was, everything after it half a second later, the phases too."""
    spans = tuple(
        replace(phase, moves=None, start=start, end=end)
        for phase, (start, end) in zip(job.phases, ((0.0, 1.1), (1.2, 4.6), (4.61, 6.0)), strict=True)
    )
    job = replace(job, phases=spans)
    at = job.trajectory.moves.index("press")
    paused = changes.paused(job, at, 0.5)
    before, after = job.trajectory, paused.trajectory
    assert after.t[-1] == pytest.approx(before.t[-1] + 0.5)
    assert (after.position[: at + 1] == before.position[: at + 1]).all()
    assert after.position[at + 51 :] == pytest.approx(before.position[at + 1 :])
    assert np.ptp(after.position[at : at + 51], axis=0) == pytest.approx(0.0)
    assert [phase.span for phase in paused.phases] == [
        pytest.approx(span) for span in ((0.0, 1.6), (1.7, 5.1), (5.11, 6.5))
    ]
    assert changes.paused(job, at, 0.0) is job
    with pytest.raises(gm.InputError, match="pause: found 1e"):
        changes.paused(job, at, 1e9)


def test_one_pad_becomes_four_at_the_quarter_points():
    """Of the same area together, on a part that lies off the tool's origin."""
    film = gm.PadMaterial(pull_off_stress=75e3, shear_strength=65e3, normal_stiffness=1.2e8, shear_stiffness=4e7)
    outline = np.array([[-0.1, -0.05], [0.3, -0.05], [0.3, 0.15], [-0.1, 0.15]])
    part = gm.Part(mass=0.1, com=[0.1, 0.05, 0], inertia=[1e-3, 1e-3, 2e-3, 0, 0, 0], outline=outline)
    still = gm.PoseTrajectory(t=[0, 1], position=np.zeros((2, 3)), rotation=np.broadcast_to(np.eye(3), (2, 3, 3)))
    pad = gm.Pad.rectangle("pad", film, [0.04, 0.02], gm.pose((0.1, 0.05, 0)))
    job = gm.Job(name="plate", trajectory=still, part=part, gripper=gm.Gripper(pads=(pad,)))
    changed, x, y = changes.quartered(job)
    assert (x, y) == (0.1, 0.05)
    places = [tuple(each.pose_in_tool[:2, 3].round(9)) for each in changed.gripper.pads]
    assert places == [(0.0, 0.0), (0.2, 0.0), (0.2, 0.1), (0.0, 0.1)]
    assert all(np.allclose(np.ptp(each.outline, axis=0), [0.02, 0.01]) for each in changed.gripper.pads)
    with pytest.raises(gm.InputError, match="one pad on a part with an outline"):
        changes.quartered(changed)


def test_a_force_of_the_process_goes_with_the_part():
    """Pads that grip 10 mm further along x see the part, and where it is pushed, 10 mm further back."""
    job = lowered(push((0, 0, -20), (0.01, 0, 0)), gm.Process(moves=("after",), moment=[0, 0, 1]))
    shifted = changes.shifted_pads(job, 0.01, -0.02)
    np.testing.assert_allclose(shifted.process[0].at, [0.0, 0.02, 0.0], atol=1e-15)
    np.testing.assert_allclose(shifted.part.com - job.part.com, [-0.01, 0.02, 0.0], atol=1e-15)
    assert shifted.process[1].at is None


def test_forces_of_the_process_at_half_their_size_and_over_a_time():
    given = push((0, 0, -20)), push(None, overtravel=[0, 0, 1e-3], stiffness=1e4, shape="ramp", rise=0.05)
    one, other = changes.less_pushed(lowered(*given), 0.5).process
    np.testing.assert_allclose([one.force, other.overtravel], [[0, 0, -10], [0, 0, 5e-4]])
    slow = changes.pushed_slowly(lowered(*given), 0.03).process
    assert [(force.shape, force.rise) for force in slow] == [("ramp", 0.03), ("ramp", 0.05)]


def test_forces_by_times_go_with_a_pause_and_with_another_speed():
    job = lowered(push(start=1.0, end=1.1))
    assert changes.paused(job, 100, 0.5).process[0].span == pytest.approx((1.5, 1.6))
    assert scaled(job, np.full(200, 2.0)).process[0].span == pytest.approx((0.5, 0.55))


def test_a_pad_beneath_the_heaviest_component_and_round_pads():
    film = gm.PadMaterial(pull_off_stress=1e4, shear_strength=1e4, normal_stiffness=1e8, shear_stiffness=1e8)
    outline = [[-0.1, -0.05], [0.1, -0.05], [0.1, 0.05], [-0.1, 0.05]]
    load = (gm.Component(mass=0.01, at=[-0.08, 0, 0.002]), gm.Component(mass=0.03, at=[0.0701, 0.03, 0.002]))
    com, inertia = gm.uniform_plate(0.1, outline, 0.002, load)
    part = gm.Part(mass=0.1, com=com, inertia=inertia, outline=outline, thickness=0.002, components=load)
    still = gm.PoseTrajectory(t=[0, 1], position=np.zeros((2, 3)), rotation=np.broadcast_to(np.eye(3), (2, 3, 3)))
    pads = [gm.Pad.rectangle(f"{x}", film, [0.02, 0.01], gm.pose((x, 0, 0))) for x in (-0.05, 0.05)]
    job = gm.Job(name="board", trajectory=still, part=part, gripper=gm.Gripper(pads=pads))
    changed, pad = changes.beneath_the_heaviest(job)
    assert pad.name == "0.05"
    assert [tuple(each.pose_in_tool[:2, 3]) for each in changed.gripper.pads] == [(-0.05, 0.0), (0.07, 0.03)]
    for other in (
        replace(job, part=replace(part, components=(), inertia=np.eye(3))),
        replace(job, gripper=gm.Gripper(pads=pads[:1])),
    ):
        with pytest.raises(gm.InputError, match="a component and several pads"):
            changes.beneath_the_heaviest(other)
    discs = changes.rounded(job).gripper.pads
    assert [np.ptp(disc.outline, axis=0)[0] ** 2 * np.pi / 4 for disc in discs] == pytest.approx([2e-4, 2e-4], rel=2e-3)
    with pytest.raises(gm.InputError, match="pads with corners"):
        changes.rounded(changes.rounded(job))
