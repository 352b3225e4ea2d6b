"""Logs with stamps of a calendar clock: times are exact differences of what is written, rounded once.

A float of 64 bits near 1.7e9 s resolves 2.4e-7 s (IEEE 754: 52 bits after the first): at 1 rad/s and 1 kHz that would
be an error of 0.2 rad/s^2 in every second difference.
"""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import gripmargin as gm
from gripmargin.base.errors import InputError
from gripmargin.files.trajectory_file import read_trajectory


def csv(tmp_path, text):
    path = tmp_path / "log.csv"
    path.write_text(text, encoding="utf-8")
    return read_trajectory(path)


@pytest.mark.parametrize(("unit", "digits"), [("s", 9), ("ms", 6), ("ns", 0)])
@given(
    start=st.integers(10**18, 2 * 10**18),
    steps=st.lists(st.integers(1_000, 10**10), min_size=1, max_size=5),
)
@settings(max_examples=30, deadline=None)
def test_differences_are_exact(tmp_path_factory, unit, digits, start, steps):
    stamps = [start + int(s) for s in np.cumsum([0, *steps])]
    written = [f"{s // 10**digits}.{s % 10**digits:0{digits}d}" if digits else f"{s}" for s in stamps]
    rows = "\n".join(f"0.1,{w},lift" for w in written)
    trajectory = csv(tmp_path_factory.mktemp("log"), f"q1 [rad],t [{unit}],move\n{rows}\n")
    due = [float(Fraction(s - start, 10**9)) for s in stamps]
    if unit == "s":
        np.testing.assert_array_equal(trajectory.t, due)
    else:  # one more rounding, from the unit to seconds
        np.testing.assert_allclose(trajectory.t, due, rtol=3e-16, atol=0)
    assert trajectory.notes[0] == f"Times start at 0, which is the stamp {written[0]} {unit}."


def test_comments_blanks_and_quotes_between_rows(tmp_path):
    text = '# log\n\nt [s],q1 [rad],move\n1700000000.1,0,"a, b"\n# pause\n\n  1700000000.104 ,0,c\n1700000000.108,0,c\n'
    np.testing.assert_array_equal(csv(tmp_path, text).t, [0.0, 0.004, 0.008])


def test_stamps_with_exponents(tmp_path):
    text = "t [s],q1 [rad]\n1.7000000001e9,0\n1.700000000104e+09,0\n"
    np.testing.assert_array_equal(csv(tmp_path, text).t, [0.0, 0.004])


def test_times_near_zero_stay_as_they_are(tmp_path):
    trajectory = csv(tmp_path, "t [s],q1 [rad]\n999999.5,0\n999999.75,0\n")
    np.testing.assert_array_equal(trajectory.t, [999999.5, 999999.75])
    assert [note for note in trajectory.notes if note.startswith("Times")] == []


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ("1700000000.1,0\n1700000000.1,0\n", r"line 3: found a time that repeats: 0 s, then 0 s"),
        ("1700000000.2,0\n1700000000.1,0\n", r"line 3: found a time that goes back: 0 s, then -0\.1 s"),
        ("1700000000.2,0\nnan,0\n", r"line 3, column 't \[s\]': found nan, expected a finite number"),
        ("1700000000.2,0\n1e999,0\n", r"line 3, column 't \[s\]': found inf, expected a finite number"),
        ("1e999,0\n1,0\n", r"line 2, column 't \[s\]': found inf, expected a finite number"),
        ("1700000000.2,0\nnoon,0\n", r'line 3, column \'t \[s\]\': found "noon", expected a number'),
        ("1700000000.2,0\n1e300,0\n1e301,0\n1e305,nan\n", r"line 5, column 'q1 \[rad\]': found nan"),
    ],
)
def test_stamps_that_are_wrong(tmp_path, rows, says):
    with pytest.raises(InputError, match=says):
        csv(tmp_path, f"t [s],q1 [rad]\n{rows}")


@pytest.mark.parametrize("kind", ["int64", "uint64"])
def test_whole_nanoseconds_in_npz(tmp_path, kind):
    stamps = np.array([1_700_000_000_000_000_001, 1_700_000_000_004_000_002, 1_700_000_000_008_000_001], dtype=kind)
    np.savez(tmp_path / "log.npz", **{"q1 [rad]": np.zeros(3), "t [ns]": stamps})
    np.testing.assert_array_equal(read_trajectory(tmp_path / "log.npz").t, [0.0, 0.004000001, 0.008])
    np.savez(tmp_path / "log.npz", **{"q1 [rad]": np.zeros(3), "t [ns]": stamps[::-1]})
    with pytest.raises(InputError, match="sample 1: found a time that goes back"):
        read_trajectory(tmp_path / "log.npz")


def test_stamps_stored_as_floats_say_what_was_lost(tmp_path):
    stamps = np.array([1_700_000_000.0, 1_700_000_000.25])
    np.savez(tmp_path / "log.npz", **{"q1 [rad]": np.zeros(2), "t [s]": stamps})
    trajectory = read_trajectory(tmp_path / "log.npz")
    np.testing.assert_array_equal(trajectory.t, [0.0, 0.25])
    assert trajectory.notes[0] == "Times start at 0; as they were stored they resolve 2.4e-07 s."


def test_the_report_says_so(tmp_path):
    t = np.linspace(0, 0.5, 60)
    rows = "\n".join(f"{1_700_000_000_000 + 1e3 * a:.3f},{100 * a:.9f},0,400,1,0,0,0" for a in t)
    trajectory = csv(tmp_path, f"t [ms],x [mm],y [mm],z [mm],qx,qy,qz,qw\n{rows}\n")
    film = gm.PadMaterial(pull_off_stress=6e4, shear_strength=5e4, normal_stiffness=1e8, shear_stiffness=3e7)
    report = gm.check(
        trajectory=trajectory,
        gripper=gm.Gripper(pads=(gm.Pad.disc("pad", film, 0.03),)),
        part=gm.Part(
            face="plane", rigid=True, mass=0.2, com=[0.0, 0.0, 0.002], inertia=[1e-4, 1e-4, 2e-4, 0.0, 0.0, 0.0]
        ),
    )
    assert "Times start at 0, which is the stamp 1700000000000.000 ms." in report.notes
