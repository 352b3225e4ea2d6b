"""The job with two parts on one gripper at a time: each by itself passes, and both together are too much."""

from dataclasses import replace

import gripmargin as gm
from gripmargin.files.job_file import read_job
from support.demos import FOLDER


def alone(job, station):
    """The job with the pads, the phases and the part of one station alone, without places: what takes time."""
    pads = tuple(pad for pad in job.gripper.pads if pad.station == station)
    frames = tuple(each for each in job.gripper.stations if each.name == station)
    phases = tuple(phase for phase in job.phases if phase.station == station)
    named = {phase.part for phase in phases}
    parts = {name: part for name, part in job.parts.items() if name in named}
    bare = tuple(replace(phase, pick=None, nest=None) for phase in phases)
    gripper = replace(job.gripper, pads=pads, stations=frames)
    return replace(job, gripper=gripper, phases=bare, part=None, parts=parts, picks={}, nests={})


def test_what_passes_with_one_part_fails_with_both(reports):
    """By the rated payload: 1.25 kg of gripper with parts of 240 g and of 241 g, and with both, against 1.7 kg."""
    job = read_job(FOLDER / "swap-thick.toml")
    for station, mass in (("A", 0.240), ("B", 0.241)):
        (check,) = gm.check_job(alone(job, station), checks=["flange"]).checks
        assert check.verdict == "pass"
        assert abs(check.value - 1.7 / (1.25 + mass)) < 1e-9
    for hold in reports["swap-thick"].holds:
        check = next(check for check in hold.report.checks if check.check == "flange")
        assert check.verdict == "fail"
        assert abs(check.value - 1.7 / (1.25 + 0.481)) < 1e-9
        assert {c.check for c in hold.report.checks if c.verdict != "pass"} == {"flange"}
    lighter = [r for f in reports["swap-thick"].findings for r in f.remedies if r.action == "lighten"]
    assert len(lighter) == 2
    for remedy in lighter:  # which has been through the checker: just enough, or a gram more for the rounding
        assert remedy.shown
        assert 0.031 - 1e-9 <= remedy.figures["less"] <= 0.032 + 1e-9
        assert remedy.text.startswith("make gripper and parts together lighter by 0.03")
