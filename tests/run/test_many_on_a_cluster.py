"""Jobs on a real scheduler with two worker processes, one of them killed in the midst."""

from pathlib import Path

import dask
import pytest
from distributed import Client, LocalCluster

import gripmargin as gm
from gripmargin.reports.as_lines import report_lines
from gripmargin.run.many import judge_file, judgements


def base(judgement):
    return Path(judgement.job_file).name


@pytest.fixture
def client(watched):
    settings = {"distributed.scheduler.allowed-failures": 1, "distributed.admin.tick.limit": "1m"}
    with (
        dask.config.set(settings),
        LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster,
        Client(cluster) as client,
    ):
        yield client


def test_on_a_cluster_nothing_is_lost_and_nothing_judged_twice(client, write, watched, once, outcomes):
    names = ("a", "b", "c", "slow", "d", "e", "stuck", "f")
    paths = [write(name) for name in names]
    arrived = []
    killed = watched.kill_at_work("stuck", arrived)
    with client.get_executor() as executor:
        found = list(judgements(paths, executor=executor, samples=False, ended=lambda j: arrived.append(base(j))))
        assert killed() == 1
        assert [j.job_file for j in found] == paths
        assert watched.counted("end") == once(*names)
        assert watched.counted("begin") == once(*names, "stuck")
        assert report_lines(found) == report_lines([judge_file(path) for path in paths])

        # the same names with other content: the scheduler must not answer from memory
        held = found
        write("b", "8 kg")
        changed = gm.check_files(paths[:2], executor=executor)
        assert outcomes(changed) == ["pass", "fail"]
        assert outcomes(held[:2]) == ["pass", "pass"]

        # a job that ends every worker it meets
        ends = gm.check_files([write("deadly"), paths[0]], executor=executor)
        assert outcomes(ends) == ["FaultError", "pass"]
