"""Job files with several parts and places: names, and what is wrong with them."""

from pathlib import Path

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.files.job_file import read_job

FOLDER = Path(__file__).parents[2] / "trajectories"
TEXT = (FOLDER / "kit.toml").read_text(encoding="utf-8")


def changed(tmp_path, *changes):
    text = TEXT.replace('"kit.csv"', f"'{FOLDER / 'kit.csv'}'")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    return tmp_path / "job.toml"


def test_parts_and_places_by_name():
    job = read_job(FOLDER / "kit.toml")
    assert [(hold.name, hold.pick, hold.nest) for hold in job.holds] == [
        (f"{number} {part}", f"{part}s", f"{part}_bay")
        for number, part in enumerate(2 * ("cover", "slip", "tray"), start=1)
    ]
    np.testing.assert_array_equal(job.picks["slips"].step, [0, 0, -0.002])
    assert job.parts["slip"].mass == pytest.approx(8.1e-3)
    plate = "The part's centre of mass and inertia are those of a uniform plate (outline, thickness)"
    assert f"{plate}: parts.slip." in job.assumed


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("[picks.slips]\nface", "[picks.slips]\nstep = 3\nface", "picks.slips.step"),
        ('part = "slip"', 'part = "slipp"', r"program.phases\[3\].part: found 'slipp', .* did you mean 'slip'"),
        ('mass = "8.1 g"', 'mass = "-8 g"', "parts.slip.mass"),
        ('pick = "slips", ', "", "picks.slips: found a pick that no phase names"),
        ("[parts.slip]", "[parts.slip]\nmas = 3", r"parts.slip.mas: found a key that is not known"),
        ("[targets]", '[part]\nmass = "1 g"\nthickness = "1 mm"\n[targets]', "parts beside part|part.com"),
    ],
)
def test_what_is_wrong_with_names(tmp_path, old, new, message):
    if "step = 3" in new:
        old, new = 'step = ["0 mm", "0 mm", "-2 mm"]', "step = 3"
    with pytest.raises(gm.InputError, match=message):
        read_job(changed(tmp_path, (old, new)))


def test_a_part_there_has_to_be(tmp_path):
    text = "".join(f"[{block}" for block in TEXT.split("\n[")[1:] if not block.startswith("parts."))
    (tmp_path / "job.toml").write_text(text.replace("[[", "\n[[").replace("]\n", "]\n"), encoding="utf-8")
    with pytest.raises(gm.InputError, match="part: found nothing, expected a value, for this key is required"):
        read_job(tmp_path / "job.toml")
