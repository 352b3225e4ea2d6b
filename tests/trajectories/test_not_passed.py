"""Ways to drop, crush or not let go of a part while the job looks right. None may pass."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.handover import preload, pressure, release
from gripmargin.checks.hold.use import pad_use
from gripmargin.files.job_file import read_job
from gripmargin.results.findings import judge, overall
from support.demos import FOLDER

PRELOAD = gm.Phase(kind="preload", moves=("touch", "press"))
CARRY = gm.Phase(kind="carry", moves=("lift", "carry over", "lower"))
RELEASE = gm.Phase(kind="release", moves=("seat", "leave"))


def poses(t, q, moves):
    """A pose trajectory from x, y, z, yaw and tilt."""
    turns = Rotation.from_euler("xz", np.column_stack([np.pi + q[:, 4], q[:, 3]])).as_matrix()
    return gm.PoseTrajectory(t=t, position=q[:, :3], rotation=turns, moves=moves)


@pytest.fixture(scope="module")
def lid(programs):
    """The lid, pulled off straight, but held down so well that this passes; targets near what it has."""
    job = read_job(FOLDER / "lid-straight-pull.toml")
    job = replace(
        job,
        nest=replace(job.nest, hold_down=20.0),
        part=replace(job.part, max_pressure=12e4),
        targets=replace(job.targets, hold=15.0, swing=1.0),
    )

    plain = programs.lid(press=None)

    def make(speed=None, phases=(PRELOAD, CARRY, RELEASE)):
        made = plain if speed is None else programs.lid(speed, press=None)
        return replace(job, trajectory=poses(made.t, made.q, made.moves), phases=tuple(phases))

    return make


def moved(job, table, by):
    place = getattr(job, table)
    return replace(job, **{table: replace(place, face=place.face @ by)})


def cut(job, samples):
    """A job whose program ends early."""
    whole = job.trajectory
    short = {
        key: value[:samples]
        for key, value in vars(whole).items()
        if isinstance(value, np.ndarray | tuple) and len(value) == whole.samples
    }
    return replace(job, trajectory=replace(whole, **short))


def with_pad(job, **changes):
    pads = tuple(replace(pad, **changes) for pad in job.gripper.pads)
    return replace(job, gripper=replace(job.gripper, pads=pads))


def verdicts(job):
    """The verdict and those of the checks, without what a whole report costs to advise on the carry."""
    case = work_out(job, trial=True)
    outcomes = [check.answer(case) for check in (preload.PRELOAD, release.RELEASE, pressure.PRESSURE)]
    found = {c.check: c.verdict for outcome in outcomes for c in outcome.results}
    use = pad_use(case)[0]
    found["hold"] = judge(1.0 / use.high.max(), 1.0 / use.low.max(), job.targets.hold)
    return overall(found.values()), {name: str(verdict) for name, verdict in found.items()}


def release_of(job):
    return release.RELEASE.answer(work_out(job, trial=True)).results[0]


def lowest_margin(job):
    return 1.0 / pad_use(work_out(job))[0].low.max()


def test_what_is_attacked_passes(lid):
    report = gm.check_job(lid())
    assert report.verdict == "pass"
    assert {c.check: str(c.verdict) for c in report.checks} == verdicts(lid())[1] | {"swing": "pass"}
    assert {c.check for c in report.checks} == {"preload", "lift_off", "release", "pressure", "hold", "swing"}


class TestPhases:
    """What a phase says is not believed where the motion says otherwise."""

    def test_without_a_release_phase(self, lid):
        verdict, checks = verdicts(lid(phases=(PRELOAD, CARRY)))
        assert (verdict, checks["release"]) == ("undecided", "undecided")
        assert gm.check_job(lid(phases=(PRELOAD, CARRY))).verdict == "undecided"

    def test_without_a_preload_phase(self, lid):
        verdict, checks = verdicts(lid(phases=(CARRY, RELEASE)))
        assert (verdict, checks["preload"]) == ("undecided", "undecided")

    def test_a_release_that_ends_before_the_tool_has_left(self, lid):
        """What follows it lets go all the same; where the program ends there, it does not."""
        early = PRELOAD, CARRY, replace(RELEASE, moves=("seat",))
        assert verdicts(lid(phases=early))[1]["release"] == "pass"
        job = lid(phases=early)
        stays = np.flatnonzero(job.phase_map.covers("release"))[-1] + 1
        assert verdicts(cut(job, stays))[1]["release"] == "fail"

    def test_a_slide_that_ends_before_the_tool_has_left(self):
        """Nothing is bonded any more, but the pad still lies on the sheet when the program ends."""
        job = read_job(FOLDER / "reflector.toml")
        early = replace(job.phases[2], end=9.7)
        phases = (*job.phases[:2], early)
        assert verdicts(replace(job, phases=phases))[1]["release"] == "pass"
        short = cut(replace(job, phases=phases), int(np.searchsorted(job.trajectory.t, 9.7)))
        assert verdicts(short)[1]["release"] == "undecided"

    def test_a_slide_that_counts_as_carry(self):
        """The release phase starts after it: the part is in its nest all the same, and the slide lets go."""
        job = read_job(FOLDER / "reflector.toml")
        late = replace(job.phases[1], end=9.8), replace(job.phases[2], start=9.8)
        told = replace(job, phases=(job.phases[0], *late))
        assert verdicts(told)[1]["release"] == "pass"
        weak = replace(told, nest=replace(told.nest, lateral_force=10.0))
        assert verdicts(weak)[1]["release"] == "fail"

    def test_a_hasty_carry_called_release(self, lid):
        late = replace(CARRY, moves=("lift",)), replace(RELEASE, moves=("carry over", "lower", "seat", "leave"))
        assert lowest_margin(lid({"carry over": 3.0}, (PRELOAD, *late))) < 15.0

    @pytest.mark.parametrize("speed", [{"lift": 3.0}, {"carry over": 3.0}])
    def test_a_hasty_carry_called_preload(self, lid, speed):
        early = replace(PRELOAD, moves=("touch", "press", "lift", "carry over")), replace(CARRY, moves=("lower",))
        assert lowest_margin(lid(speed, (*early, RELEASE))) < 15.0

    def test_such_stretches_are_named(self, lid):
        early = replace(PRELOAD, moves=("touch", "press", "lift")), replace(CARRY, moves=("carry over", "lower"))
        report = gm.check_job(lid(phases=(*early, RELEASE)))
        assert report.verdict == "pass"
        assert any("the part hangs on the pads although the phase is a preload" in line for line in report.assumed)

    def test_a_preload_after_the_carry(self, lid):
        phases = (replace(CARRY, moves=("touch", "press", *CARRY.moves)), replace(PRELOAD, moves=RELEASE.moves))
        with pytest.raises(gm.InputError, match=r"a preload at .* after the carry has begun"):
            gm.check_job(lid(phases=phases))

    def test_a_release_before_the_carry(self, lid):
        with pytest.raises(gm.InputError, match=r"a release at .* before the carry"):
            gm.check_job(lid(phases=(replace(RELEASE, moves=("touch", "press")), CARRY)))


class TestFaces:
    """Faces that do not belong to the program."""

    @pytest.mark.parametrize("table", ["pick", "nest"])
    @pytest.mark.parametrize("angle", [50.0, 90.0, 180.0])
    def test_turned_over(self, lid, table, angle):
        with pytest.raises(gm.InputError, match=rf"{table}.face: found a face whose \+z axis is"):
            gm.check_job(moved(lid(), table, gm.pose(rpy=(np.deg2rad(angle), 0.0, 0.0))))

    def test_turned_less_it_is_judged(self, lid):
        assert verdicts(moved(lid(), "pick", gm.pose(rpy=(np.deg2rad(40.0), 0.0, 0.0))))[0] == "fail"

    def test_a_tray_too_low(self, lid):
        verdict, checks = verdicts(moved(lid(), "pick", gm.pose((0.0, 0.0, -0.005))))
        assert (verdict, checks["preload"], checks["hold"]) == ("fail", "fail", "fail")

    def test_a_nest_too_low(self, lid):
        job = moved(lid(), "nest", gm.pose((0.0, 0.0, -0.005)))
        report = gm.check_job(job)
        assert report.verdict == "fail"
        (finding,) = report.findings
        lower = finding.remedies[0].figures["lower"]
        assert release_of(moved(job, "nest", gm.pose((0.0, 0.0, lower)))).verdict == "pass"
        assert release_of(moved(job, "nest", gm.pose((0.0, 0.0, lower - 5e-5)))).verdict == "fail"

    @pytest.mark.parametrize("table", ["pick", "nest"])
    def test_too_high(self, lid, table):
        """The pads are pressed more than 2 mm deep: over 20 N/cm2, where the part takes 12."""
        job = moved(lid(), table, gm.pose((0.0, 0.0, 0.002)))
        verdict, checks = verdicts(job)
        assert (verdict, checks["pressure"]) == ("fail", "fail")
        verdict, checks = verdicts(replace(job, part=replace(job.part, max_pressure=None)))
        assert verdict != "pass"
        assert checks["pressure"] == "undecided"

    def test_a_nest_askew(self, lid):
        report = gm.check_job(moved(lid(), "nest", gm.pose(rpy=(np.deg2rad(10.0), 0.0, 0.0))))
        assert report.verdict == "fail"
        (finding,) = report.findings
        assert finding.because["cause"] == "the part is set down askew"
        assert finding.remedies[0].figures["tilt"] == pytest.approx(np.deg2rad(10.0), rel=1e-3)

    def test_support_follows_the_part(self):
        """The reflector's outline lies to one side of the pad; a nest described in other axes changes nothing."""
        job = read_job(FOLDER / "reflector-short-slide.toml")
        turned = moved(job, "nest", gm.pose(rpy=(0.0, 0.0, 1.0)))
        tip = [release_of(one).details["tip"] for one in (job, turned)]
        assert tip[1]["ratio"] == pytest.approx(tip[0]["ratio"], rel=1e-6)


class TestBond:
    def test_too_short_a_dwell(self, lid):
        job = lid()
        (pad,) = job.gripper.pads
        verdict, checks = verdicts(with_pad(job, material=replace(pad.material, min_dwell=1.0)))
        assert (verdict, checks["preload"], checks["hold"]) == ("fail", "fail", "fail")

    def test_pad_half_off_the_part(self, lid):
        verdict, checks = verdicts(with_pad(lid(), pose_in_tool=gm.pose((0.035, 0.0, 0.0))))
        assert (verdict, checks["hold"], checks["lift_off"]) == ("fail", "fail", "fail")

    def test_pressed_on_again_after_the_release(self, programs):
        """The buckled fibres stand up again once they are off the lid, and the pad bonds anew."""
        job, made = read_job(FOLDER / "lid.toml"), programs.lid()
        up = made.moves.index("return") - 1
        down = made.q[up] - [0.0, 0.0, made.q[up, 2] - 0.95 + 0.00025, 0.0, 0.0]
        s = np.linspace(0.0, 1.0, 501)[1:, None]  # two seconds down, one at rest, two up
        way = made.q[up] + (10 * s**3 - 15 * s**4 + 6 * s**5) * (down - made.q[up])
        q = np.concatenate([made.q[: up + 1], way, np.tile(down, (250, 1)), way[::-1]])
        moves = (*made.moves[: up + 1], *["leave"] * (len(q) - up - 1))
        again = replace(job, trajectory=poses(made.t[1] * np.arange(len(q)), q, moves))
        verdict, checks = verdicts(again)
        assert (verdict, checks["release"]) == ("fail", "fail")

    def test_nothing_said_of_the_nest(self):
        job = read_job(FOLDER / "reflector.toml")
        silent = replace(job, nest=replace(job.nest, lateral_force=None))
        assert verdicts(silent)[1]["release"] == "undecided"
