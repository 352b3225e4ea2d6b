"""What is written passes when it is read; what a controller gets is said."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.results.tuned import Retimed, Tuning
from gripmargin.tuning.read_back import as_positions, written


def given_out(job):
    """An outcome that gives out a job as it is."""
    report = gm.check_job(job)
    retimed = Retimed(
        rows=(), cycle_now=1, cycle_then=1, passed=True, job=job, report=report, rate=250, deviation=0, ramp=(),
        reached=1, by="retiming", rounds=1,
    )  # fmt: skip
    return Tuning(job=job.name, verdict=report.verdict, retimed=retimed)


@pytest.mark.parametrize("ending", [".csv", ".npz", ".yaml", ".json"])
def test_a_program_that_passes_is_written_whole(random_path_job, ending):
    """Messages have no labels: those of the program are taken."""
    job = random_path_job(1)
    moves = tuple("there" if t < 1.0 else "back" for t in job.trajectory.t)
    labelled = replace(job.trajectory, moves=moves)
    phases = (gm.Phase(kind="carry", moves=("there", "back")),)
    tuning, data = written(
        given_out(replace(job, trajectory=labelled, phases=phases, targets=gm.Targets(hold=0.1))), ending
    )
    assert tuning.passed
    assert len(data) > 1000


def test_a_file_that_does_not_pass_is_not_written(random_path_job):
    tuning = given_out(replace(random_path_job(1), targets=gm.Targets(hold=50.0)))
    found, data = written(tuning, ".csv")
    assert data is None
    assert found.verdict == "fail"
    assert found.blocked[0].startswith("the file, read back, does not pass and is not written: ")
    assert "hold is fail" in found.blocked[0]


def test_positions_alone_are_those_of_the_program(random_path_job):
    job = random_path_job(1)
    found = as_positions(job)
    t, q = found.job.trajectory.t, found.job.trajectory.q
    assert found.job.trajectory.qd is None
    assert np.allclose(np.diff(t), 0.004)
    off = q - np.stack([np.interp(t, job.trajectory.t, column) for column in job.trajectory.q.T], axis=1)
    assert np.abs(off).max() < 2e-5
    digits = q / np.deg2rad(1e-4)
    assert np.abs(digits - np.round(digits)).max() < 1e-3
