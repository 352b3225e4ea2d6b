"""Time laws are ranked by verdict, then by the least share of a target."""

from gripmargin.results.findings import Verdict, undecided
from gripmargin.results.time_laws import CheckUnderLaw, TimeLaw


def law(verdict, *shares):
    checks = tuple(CheckUnderLaw(check="hold", verdict=verdict, share=share) for share in shares)
    return TimeLaw(law="trapezoid", blends=False, duration=1.0, verdict=verdict, counts=False, checks=checks)


def test_worst_first():
    ranked = [
        law(Verdict.FAIL, 0.9),
        law(Verdict.UNDECIDED, None, 3.0),
        law(Verdict.UNDECIDED, 0.8),
        law(Verdict.PASS, 1.0001, 1.5),
        law(Verdict.PASS, 1.0, 2.0),  # the least is alike to three decimals: the next decides
        law(Verdict.PASS, 1.2, 1.3),
    ]
    mixed = ranked[::-1]
    mixed.sort(key=lambda each: each.severity)
    assert mixed == ranked


def test_a_share_that_is_not_known():
    assert CheckUnderLaw.of(undecided("hold", 2.0, "no data")).share is None
