"""How hard the robot brakes, by what the job says of it."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.stop import words
from support.stops import judged, stop_of, use_at


class TestFullSpeed:
    limits = gm.JointLimits(speed=[4.0] * 6)

    def test_rated_speeds_say_what_full_speed_is(self, fast):
        """From a quarter of the rated speed a stop of 0.4 s at full speed takes 0.1 s."""
        rated = gm.check_job(fast(gm.Stop(time=0.4), joint_limits=self.limits))
        result = stop_of(rated)
        _, qd, _ = fast.exact.at(np.array([result.at.t]))
        assert result.details["braking_time"] == pytest.approx(0.4 * np.abs(qd).max() / 4.0, rel=1e-6)
        bare = gm.check_job(fast(gm.Stop(time=0.4)))
        assert stop_of(bare).low > result.low
        assert any("a robot that is faster brakes harder" in sentence for sentence in bare.assumed)
        assert not any("a robot that is faster" in sentence for sentence in rated.assumed)

    @pytest.mark.parametrize(("full", "duration"), [(4.0, 0.8), (4.0, 1.6), (1.0, 0.8)])
    def test_a_tool_speed_says_so_for_poses(self, level, full, duration):
        """A slide of 0.6 m by the quintic, v = 30 s^2 (1 - s)^2 d/T; from above full speed it takes no longer."""
        found = stop_of(gm.check_job(level(gm.Stop(time=0.4, speed=full), duration), checks=["stop"]))
        s = found.at.t / duration
        speed = 30 * s**2 * (1 - s) ** 2 * 0.6 / duration
        assert found.details["braking_time"] == pytest.approx(0.4 * min(speed / full, 1.0), rel=1e-3)

    @pytest.mark.parametrize("beside", [{"deceleration": 5.0}, {"axis_deceleration": [5.0]}])
    def test_a_tool_speed_without_a_stopping_time(self, beside):
        with pytest.raises(gm.InputError, match=r"stop.speed: found a full speed without a stopping time"):
            gm.Stop(speed=1.0, **beside)

    def test_published_stops_like_one_time_give_what_the_time_gives(self, fast):
        figures = [gm.StopFigure(speed=s, time=0.4 * s) for s in (0.33, 0.66, 1.0)]
        a, b = (
            gm.check_job(fast(stop, joint_limits=self.limits)).samples.stop_margin
            for stop in (gm.Stop(time=0.4), gm.Stop(measured=figures))
        )
        assert a == pytest.approx(b, rel=1e-9)

    def published(self, **more):
        grid = {(0.33, 0.33): 0.10, (0.33, 1.0): 0.14, (1.0, 0.33): 0.22, (1.0, 1.0): 0.30}
        return [gm.StopFigure(speed=s, load=k, time=t, **more) for (s, k), t in grid.items()]

    def test_lighter_loads_stop_sooner_and_an_unknown_load_counts_as_the_worst(self, fast):
        lows = []
        for load in (1.0, 0.6, 0.33, 0.1):
            job = fast(gm.Stop(measured=self.published(), load=load), joint_limits=self.limits)
            lows.append(judged(job).low)
        assert (np.diff(lows) < 0).all()
        unknown = judged(fast(gm.Stop(measured=self.published()), joint_limits=self.limits))
        assert unknown.low == pytest.approx(lows[2])

    def test_distances_that_show_harder_braking_count(self, fast):
        full = [4.0, 5.0, 6.0, 4.0, 4.0, 4.0]
        time = [gm.StopFigure(speed=1.0, time=0.4, axis=axis) for axis in range(1, 7)]
        short = [replace(x, distance=0.5 * v**2 / 30.0) for x, v in zip(time, full, strict=True)]  # 30 rad/s2
        hard = [replace(x, time=v / 30.0) for x, v in zip(time, full, strict=True)]
        limits = gm.JointLimits(speed=full)
        a, b, c = (judged(fast(gm.Stop(measured=m), joint_limits=limits)).low for m in (time, short, hard))
        assert b < a
        assert b == pytest.approx(c)

    def test_a_tool_that_turns_for_some_time_is_said(self, fast, level):
        """Its deceleration may be that of the origin or of the fastest point."""
        for job, said in ((fast(gm.Stop(deceleration=3.0)), True), (level(gm.Stop(deceleration=3.0)), False)):
            assert (words.FASTEST_POINT in gm.check_job(job).assumed) == said

    def test_without_rated_speeds_the_shortest_published_time_counts(self, fast):
        a = judged(fast(gm.Stop(measured=self.published())))
        assert a.low == pytest.approx(judged(fast(gm.Stop(time=0.10))).low)

    def test_a_reaction_time_takes_its_way_of_the_distances(self, fast):
        """At 4 rad/s 20 ms are 80 mrad: of 0.267 rad 0.187 are left for braking, from 20 ms later on."""
        speeds, reaction = np.array([4.0, 5.0, 4.0, 4.0, 4.0, 9.0]), 0.02

        def stop(late):
            figures = [
                gm.StopFigure(
                    speed=1.0, time=0.5 - late, axis=i, distance=speeds[i - 1] ** 2 / 60.0 - late * speeds[i - 1]
                )
                for i in (1, 2, 3)
            ]
            return gm.Stop(measured=figures)

        for k in (200, 300, 400):
            jobs = (
                fast(made, joint_limits=gm.JointLimits(speed=speeds))
                for made in (replace(stop(0.0), reaction=reaction), stop(0.0), stop(reaction))
            )
            both, at_once, later = (use_at(job, k + 10 * (i == 2)) for i, job in enumerate(jobs))
            assert later > at_once
            assert both == pytest.approx(later, rel=2e-3)
