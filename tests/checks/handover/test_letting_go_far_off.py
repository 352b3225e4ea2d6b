"""A release that is begun far above its nest, as joints in a wrong order make it."""

import gripmargin as gm
from support.handed import Handed, plate_job


def test_a_travel_that_cannot_be_worked_out_ends_no_check(monkeypatch):
    """How far it would have to go is a figure beside the verdict, which stands."""

    def far_off(*_):
        raise gm.InputError(
            "contact simulation, first pose", "bonded pads 72.1 mm above the face", "pads that lie on it"
        )

    job = Handed(plate_job()).made(kind="torsion", travel=0.3)
    (before,) = [check for check in gm.check_job(job, checks=["release"]).checks if check.check == "release"]
    monkeypatch.setattr("gripmargin.checks.handover.letting_go.required_travel", far_off)
    (after,) = [check for check in gm.check_job(job, checks=["release"]).checks if check.check == "release"]
    assert (after.verdict, after.value) == (before.verdict, before.value)
