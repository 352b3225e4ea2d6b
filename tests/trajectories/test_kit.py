"""The job with many picks: what it says of each, and that what it advises for the one that falls short is enough."""

from dataclasses import replace

import numpy as np

import gripmargin as gm
from gripmargin.files.job_file import read_job
from support.demos import FOLDER


def test_six_holds_pass(reports):
    report = reports["kit"]
    assert report.passed
    assert [hold.name for hold in report.holds] == [
        f"{i} {part}" for i, part in enumerate(2 * ("cover", "slip", "tray"), start=1)
    ]


def test_one_falls_short_and_what_is_advised_is_enough(reports, programs):
    """The stack of covers lies 0.12 mm lower than the program thinks; pressed deeper there, all of it passes."""
    report = reports["kit-thin-cover"]
    assert [hold.name for hold in report.holds if hold.verdict != "pass"] == ["4 cover"]
    (finding,) = report.findings
    assert (finding.check, finding.hold) == ("preload", "4 cover")
    (deeper,) = (remedy for remedy in finding.remedies if remedy.action == "press deeper" and remedy.shown)
    made = programs.kit(deeper={4: deeper.figures["deeper"]})
    job = read_job(FOLDER / "kit-thin-cover.toml")
    changed = replace(job.trajectory.taken(np.arange(made.t.size)), position=made.q[:, :3])
    phases = [replace(phase, nest=None) for phase in job.phases]  # how parts are left takes time
    again = gm.check_job(replace(job, trajectory=changed, nests={}, phases=phases), checks=["preload"])
    assert [hold.report.passed for hold in again.holds] == 6 * [True]


def test_the_page_has_each_hold_and_a_time_line(pages):
    page = pages["kit-thin-cover"]
    assert page.count('data-verdict="pass"') == 5
    assert page.count('data-verdict="fail"') == 1
    assert page.index(">two kits, thin covers, hold 4 cover<") < page.index(">two kits, thin covers, hold 1 cover<")
    assert page.count("<title>hold ") == 6
