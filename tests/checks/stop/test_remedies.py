"""What is advised is enough, and less is not."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from support.stops import judged, stop_of


class TestAdvice:
    def short(self, fast, stop):
        """The target is beyond the loss of the last cell: from first peel up to there it is undecided."""
        job = fast(stop, targets=gm.Targets(stop=1.4 * judged(fast(stop)).high))
        return replace(job, accept=("target",))

    def advised(self, job, action):
        report = gm.check_job(job)
        assert stop_of(report).verdict is gm.Verdict.FAIL
        found = {r.action: r for f in report.findings if f.check == "stop" for r in f.remedies}
        return found[action].figures["factor"]

    def test_softer_stop_is_enough(self, fast):
        job = self.short(fast, gm.Stop(time=0.05))
        factor = self.advised(job, "stop softer")
        assert judged(replace(job, stop=gm.Stop(time=0.05 * factor))).verdict is gm.Verdict.PASS
        assert judged(replace(job, stop=gm.Stop(time=0.05 * 0.9 * factor))).verdict is not gm.Verdict.PASS

    def test_softer_axes_are_enough(self, fast):
        job = self.short(fast, gm.Stop(axis_deceleration=[40.0] * 6))
        factor = self.advised(job, "stop softer")
        softer = replace(job, stop=gm.Stop(axis_deceleration=[40.0 / factor] * 6))
        assert judged(softer).verdict is gm.Verdict.PASS

    def test_larger_and_stronger_pads_are_enough(self, fast):
        job = self.short(fast, gm.Stop(time=0.2))
        (pad,) = job.gripper.pads
        factor = self.advised(job, "larger pads")
        larger = gm.Pad.rectangle("pad", pad.material, factor * np.ptp(pad.outline, axis=0))
        assert judged(replace(job, gripper=gm.Gripper(pads=(larger,)))).verdict is gm.Verdict.PASS
        factor = self.advised(job, "strengthen")
        scaled = {key: factor * getattr(pad.material, key) for key in ("pull_off_stress", "shear_strength")}
        stronger = replace(pad, material=replace(pad.material, **scaled))
        assert judged(replace(job, gripper=gm.Gripper(pads=(stronger,)))).verdict is gm.Verdict.PASS

    def test_shares_of_the_causes_add_up(self, fast):
        report = gm.check_job(self.short(fast, gm.Stop(time=0.2)))
        for finding in report.findings:
            assert sum(finding.because["causes"].values()) == pytest.approx(1.0)
            assert sum(finding.because["ways"].values()) == pytest.approx(1.0)
        worst = next(f for f in report.findings if f.check == "stop")
        assert 0.0 < worst.because["swing"] < 1.0
