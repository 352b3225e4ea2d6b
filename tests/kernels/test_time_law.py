"""The law between two samples against programs that are known at every time (`support.laws`)."""

import numpy as np
import pytest
from scipy.interpolate import PPoly

from gripmargin.kernels.cubics import value
from gripmargin.kernels.law_defects import MARKED, Samples
from gripmargin.kernels.time_law import evaluated, law_between
from support.laws import LAWS, Program, program, samples_of


def law_of(t, columns, digits=None, **more):
    joints = columns[0].shape[1]
    given = Samples(t, *columns, np.zeros((3, joints)) if digits is None else np.full((3, joints), digits))
    return given, law_between(given, **more)


def one(lasts, laws, step, start=0.0):
    """A program of one joint from polynomials of its acceleration, sampled; and its law."""
    breaks = np.concatenate([[0.0], np.cumsum(lasts)])
    c = np.zeros((4, len(laws)))
    for k, piece in enumerate(laws):
        c[3 - np.arange(len(piece)), k] = piece
    found = Program([PPoly(c, breaks)])
    t = np.arange(start, breaks[-1], step)
    return found, t, *law_of(t, found.at(t))


def highest(given, law):
    """The most that the acceleration of each channel can be, by the law at many places and at its changes."""
    n = given.t.size - 1
    interval, share = np.repeat(np.arange(n), 41), np.tile(np.linspace(0, 1, 41), n)
    a = np.abs(evaluated(given, law, interval, share)[2]).reshape(n, 41, -1).max(axis=1)
    for k, place in enumerate(law.breaks):
        for c in law.pieces[k : k + 2]:
            change = np.abs(c[0] + place * (c[1] + place * (c[2] + place * c[3])))
            a = np.maximum(a, np.where(place < 1.0, change, 0.0))
    ends = np.maximum(np.abs(given.qdd[:-1]), np.abs(given.qdd[1:]))
    most = np.maximum(a, ends)
    return (most + law.beyond(slice(None), most)).max(axis=0)


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("step", [0.001, 0.004, 0.01, 0.02, 0.05])
def test_the_highest_acceleration_is_never_missed(law, step):
    """At 4 ms it is known within 1 %, however the samples fall."""
    wide = []
    for seed in range(2 if step < 0.002 else 4):
        found = program(law, seed)
        t = samples_of(found, seed, step)
        given, between = law_of(t, found.at(t))
        true = np.abs(found.at(found.dense(t[0], t[-1]))[2]).max(axis=0)
        most = highest(given, between)
        assert (most >= true * (1 - 3e-4)).all()  # a curve may turn between the places
        wide.append((most / true).max())
    if step <= 0.01 and law != "trapezoid":
        assert max(wide) < 1.01
    assert np.median(wide) < (1.01 if step <= 0.02 else 2.0)


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("digits", [4, 6])
def test_rounded_digits_cost_width_and_hide_nothing(law, digits):
    step, off = 0.004, []
    for seed in range(4):
        found = program(law, seed)
        t = np.round(samples_of(found, seed, step), 6)
        given, between = law_of(t, [c.round(digits) for c in found.at(t)], 0.5 * 10.0**-digits)
        true = np.abs(found.at(found.dense(t[0], t[-1]))[2]).max(axis=0)
        most = highest(given, between)
        assert (most >= true - 3e-4 * true.max()).all()
        off.append(((most - true) / true.max()).max())
        assert between.loose.mean() < 0.03
    assert np.median(off) < (0.005 if digits == 6 else 0.06)


@pytest.mark.parametrize("law", LAWS)
def test_what_it_evaluates_to_is_the_program(law):
    found = program(law, 3)
    t = samples_of(found, 3, 0.004)
    given, between = law_of(t, found.at(t))
    known = np.flatnonzero(~between.loose.any(axis=1))
    for share in (0.0, 0.3, 0.9, 1.0):
        at = t[known] + share * np.diff(t)[known]
        for got, due, off in zip(
            evaluated(given, between, known, np.full(known.size, share)), found.at(at), (1e-9, 1e-8, 1e-3), strict=True
        ):
            apart = np.abs(at[:, None] - found.changes).min(axis=1) > 1e-9
            np.testing.assert_allclose(got[apart], due[apart], atol=off)


class TestRules:
    """One interval that only one rule explains: what is found there is exact, and the rule before it would not do."""

    def test_one_kink_between_straight_laws(self):
        """Rise and fall of 500 m/s^3 meet 1.2 ms after a sample."""
        *_, law = one([0.0412, 0.06], [[0.0, 500.0], [20.6, -500.0]], 0.004)
        assert law.breaks[0, 10, 0] == pytest.approx(0.3)
        assert not law.loose.any()
        assert law.slack.max() < 1e-6

    def test_one_step(self):
        *_, law = one([0.0412, 0.06], [[3.0], [-2.0]], 0.004)
        assert law.breaks[0, 10, 0] == pytest.approx(0.3)
        assert law.pieces[:2, 0, 10, 0].tolist() == pytest.approx([3.0, -2.0])

    def test_a_step_into_a_polynomial_of_degree_five(self):
        *_, law = one([0.0412, 0.06], [[1.0], [5.0, 100.0, -4e3, 2e4]], 0.004)
        assert law.breaks[0, 10, 0] == pytest.approx(0.3, abs=1e-4)

    def test_two_kinks(self):
        """A rise, a slower one of 1.6 ms, and a fall between two samples."""
        *_, law = one([0.0412, 0.0016, 0.06], [[0.0, 500.0], [20.6, 100.0], [20.76, -500.0]], 0.004)
        assert law.breaks[:, 10, 0].tolist() == pytest.approx([0.3, 0.7])
        assert value(law.pieces[1, :, 10, 0], law.breaks[:, 10, 0]).tolist() == pytest.approx([20.6, 20.76])

    def test_two_kinks_are_not_believed_where_accelerations_jump(self):
        *_, law = one([0.02, 0.0212, 0.0016, 0.03], [[0.0], [5.0], [0.0], [-5.0]], 0.004)
        assert law.loose[10, 0]

    @pytest.mark.parametrize("forwards", [True, False])
    def test_a_kink_next_to_one_known_law(self, forwards):
        """Kinks in neighbouring intervals: each is confirmed from the side that is known."""
        lasts, laws = [0.0412, 0.0036, 0.06], [[0.0, 500.0], [20.6, 100.0], [20.96, -500.0]]
        if not forwards:
            lasts, laws = lasts[::-1], [[-9.04, 500.0], [20.96, -100.0], [20.6, -500.0]]
        *_, law = one(lasts, laws, 0.004, 0.0 if forwards else 0.0012)
        assert not law.loose.any()
        assert np.sum(law.breaks[0] < 1.0) == 2

    def test_kinks_in_a_row_of_intervals(self):
        """Each is confirmed by the one beside it, from both ends of the row."""
        slopes = [500.0, -300.0, 150.0, 700.0, -80.0, -600.0, 250.0, 900.0, -500.0]
        lasts = [0.0412, *[0.004] * 7, 0.06]
        starts = np.cumsum([0.0, *(x * y for x, y in zip(slopes, lasts, strict=True))])
        *_, law = one(lasts, [[a, b] for a, b in zip(starts, slopes, strict=False)], 0.004)
        assert not law.loose.any()
        assert law.breaks[0, 10:18, 0].tolist() == pytest.approx([0.3] * 8)

    def test_steps_in_neighbouring_intervals(self):
        *_, law = one([0.0412, 0.004, 0.06], [[3.0], [-2.0], [4.0]], 0.004)
        assert not law.loose.any()
        assert law.breaks[0, 10:12, 0].tolist() == pytest.approx([0.3, 0.3])

    def test_a_step_between_curves(self):
        """Neither the sample before it nor the one after it has the acceleration of that side."""
        *_, law = one([0.0412, 0.06], [[1.0, 50.0, 2e3], [-2.0, 100.0, -3e3]], 0.004)
        assert law.breaks[0, 10, 0] == pytest.approx(0.3, abs=1e-4)
        assert not law.loose.any()

    @pytest.mark.parametrize("laws", [([0.0, 100.0], [0.12, 500.0]), ([0.0], [3.0])], ids=["kink", "step"])
    @pytest.mark.parametrize("backwards", [False, True])
    def test_a_change_in_the_first_or_the_last_interval(self, laws, backwards):
        """There is a law on one side only."""
        lasts, laws = [0.0012, 0.0588], list(laws)
        if backwards:
            first, *slopes = laws[1]
            end = [first, *(-x for x in laws[0][1:])] if slopes else laws[0]
            lasts, laws = [0.0588, 0.0012 + 1e-9], [[first + 0.0588 * sum(slopes), *(-x for x in slopes)], end]
        *_, law = one(lasts, laws, 0.004)
        at = -1 if backwards else 0
        assert law.breaks[0, at, 0] == pytest.approx(0.7 if backwards else 0.3, abs=1e-4)
        assert not law.loose.any()

    def test_laws_that_meet_are_known_better_than_the_digits(self):
        """Where rise and fall meet is their crossing; mean and moment alone, of speeds of 1e-6, put it elsewhere."""
        found, t, *_ = one([0.0412, 0.06], [[0.0, 500.0], [20.6, -500.0]], 0.004)
        _, law = law_of(t, [c.round(6) for c in found.at(t)], 5e-7)
        top = law.pieces[0, 0, 10, 0] + law.breaks[0, 10, 0] * law.pieces[0, 1, 10, 0]
        assert top == pytest.approx(20.6, abs=1e-5)

    def test_a_smooth_law_of_degree_five(self):
        found, t, given, law = one([0.5], [[0.0, 240.0, -1440.0, 1920.0]], 0.02)
        assert not law.loose.any()
        middle = np.arange(t.size - 1)
        np.testing.assert_allclose(
            evaluated(given, law, middle, np.full(middle.size, 0.5))[2], found.at(t[:-1] + 0.01)[2], atol=1e-6
        )

    def test_a_loose_peak_is_bounded_as_a_triangle(self):
        """A rise and a fall between two samples, all still around: as high as twice its mean, and no higher."""
        t = np.arange(0.0, 0.2, 0.004)
        late = np.maximum(t - t[20] - 0.002, 0.0)
        columns = 0.03 * late, 0.03 * (late > 0), 0 * t
        _, law = law_of(t, [c[:, None] for c in columns])
        assert np.flatnonzero(law.loose).tolist() == [20]
        assert law.slack.max() == pytest.approx(15.0, rel=0.01)

    @pytest.mark.parametrize("moves", [True, False])
    def test_to_and_fro_about_the_chord(self, moves):
        """Up, down and up again at one jerk within one interval: a quarter of J h on either side of the chord.

        With moves around, at a jerk of 1.2 of it, that bounds it; where all is still, the moment does.
        """
        jerk, h = 500.0, 0.004
        lasts, laws = [20 * h, h / 4, h / 2, h / 4, 20 * h], [[0.0], [0.0, jerk], [0.5, -jerk], [-0.5, jerk], [0.0]]
        if moves:
            rise = 8.2 * h
            before = [[0.0], [0.0, 1.2 * jerk], [1.2 * jerk * rise, -1.2 * jerk]]
            lasts, laws = [10 * h, rise, rise, 0.0, *lasts[1:]], [*before, *laws]
            lasts[3] = np.ceil(sum(lasts[:3]) / h + 15) * h - sum(lasts[:3])
        *_, law = one(lasts, laws, h)
        at = round(sum(lasts[:-4]) / h)
        assert law.loose[at, 0]
        assert 0.5 <= law.slack[at, 0] <= 1.3 * 0.5

    def test_a_kink_that_rounding_hides_is_in_the_slack(self):
        """Speeds may show a mean too small by what rounding costs, which hides as much again: a triangle of 4 times."""
        found, t, *_ = one([0.042, 0.06], [[0.0, 500.0], [21.0, -500.0]], 0.004)
        q, qd, qdd = found.at(t)
        top = 500.0 * 0.004 / 2.0
        half = top / 3.6 * 0.004 / 2.0
        qd = qd + 0.99 * half * (-1.0) ** np.arange(t.size)[:, None]  # between samples 10 and 11 it falls
        law = law_between(Samples(t, q, qd, qdd, np.array([[0.0], [half], [0.0]])))
        assert not law.loose[10, 0]
        assert law.slack[10, 0] == pytest.approx(top)

    @pytest.mark.parametrize("start", np.linspace(0.0, 0.004, 9)[:-1])
    @pytest.mark.parametrize("laws", ["two kinks", "one kink"])
    def test_rounding_is_in_the_bound_of_what_is_found(self, laws, start):
        lasts, pieces = [0.0412, 0.0016, 0.06], [[0.0, 500.0], [20.6], [20.6, -500.0]]
        if laws == "one kink":
            lasts, pieces = [0.0412, 0.0016], [[0.0, 500.0], [20.6, -500.0]]
        found, t, *_ = one(lasts, pieces, 0.004, start)
        given, law = law_of(t, [c.round(4) for c in found.at(t)], 5e-5)
        assert highest(given, law)[0] >= np.abs(found.at(np.arange(t[0], t[-1], 1e-5))[2]).max()

    def test_a_loose_peak_keeps_to_the_largest_jerk(self):
        """Zero mean and zero moment: an acceleration of jerk J leaves its chord by J h / 4."""
        found = program("s_curve", 0)
        t = samples_of(found, 0, 0.05)
        _, law = law_of(t, found.at(t))
        jerk = max(np.abs(a.derivative()(found.dense(t[0], t[-1]))).max() for a in found.accelerations)
        inside = law.loose & (law.slack > 0)
        assert (law.slack[inside] <= 0.05 * jerk).all()


def test_a_law_goes_on_into_what_is_loose():
    """A stop, a rest of 22 ms and a start between two samples 50 ms apart: the start is highest, and no sample's."""
    found = program("cubic", 16)
    t = samples_of(found, 16, 0.05)
    q, qd, qdd = found.at(t)
    given, law = law_of(t, [q, qd, qdd])
    assert np.flatnonzero(law.loose.all(axis=1)).tolist() == [14]
    back = law_of(-t[::-1], [q[::-1], -qd[::-1], qdd[::-1]])
    np.testing.assert_allclose(highest(*back), highest(given, law))
    most, true = highest(given, law), np.abs(found.at(found.dense(t[0], t[-1]))[2]).max(axis=0)
    assert (np.abs(given.qdd).max(axis=0) < 0.98 * true)[1:].all()
    assert (true <= most).all()
    assert (most < 1.3 * true).all()


def test_nothing_is_carried_over_a_marked_step():
    t = np.concatenate([np.arange(0, 0.1, 0.004), [0.1 - 4e-9, 0.1 + 4e-9], np.arange(0.104, 0.2, 0.004)])
    late = np.maximum(t - 0.1, 0.0)
    columns = 2.5 * late**2, 5.0 * late, 5.0 * (late > 0)
    _, law = law_of(t, [c[:, None] for c in columns])
    assert np.diff(t).min() < MARKED
    assert not law.loose.any()
    assert law.slack.max() < 1e-6
    assert (law.breaks == 1.0).all()


def test_where_a_marked_step_shows_accelerations_that_jump_the_largest_bounds_what_is_loose():
    """A step of 5 m/s^2 that two samples mark, and a push between two others that nothing explains."""
    t = np.concatenate([np.arange(0, 0.1, 0.004), [0.1 - 4e-9, 0.1 + 4e-9], np.arange(0.104, 0.3, 0.004)])
    late, push = np.maximum(t - 0.1, 0.0), np.maximum(t - 0.202, 0.0)
    columns = 2.5 * late**2 + 0.004 * push, 5.0 * late + 0.004 * (push > 0), 5.0 * (late > 0)
    _, law = law_of(t, [c[:, None] for c in columns])
    (k,) = np.flatnonzero(law.loose)
    assert t[k] < 0.202 < t[k + 1]
    assert law.most[k, 0] == pytest.approx(7.0)  # a triangle about the 5, of a mean of 6


def test_a_grid_by_chance_is_no_rounding():
    """Speeds of a steady 4 m/s^2 every millisecond are whole multiples of 4 mm/s: exact, not rounded to 1 mm/s."""
    t = np.arange(0.0, 0.4, 0.001)
    late = np.maximum(t - 0.1, 0.0)
    columns = 2.0 * late**2, 4.0 * late, np.where(t >= 0.1, 4.0, 0.0)
    law = law_between(Samples(t, *(c[:, None] for c in columns), np.array([[5e-7], [5e-4], [0.0]])))
    assert not law.loose.any()
    assert law.slack.max() < 1e-6


def test_a_polynomial_that_is_known_has_no_slack():
    random = np.random.default_rng(0)
    t = np.cumsum(random.uniform(0.05, 0.3, 8))
    columns = [random.normal(size=(8, 2)) for _ in range(3)]
    given, law = law_of(t, columns, polynomial=True)
    assert law.slack.max() == 0.0
    end = evaluated(given, law, np.arange(7), np.ones(7))
    for got, due in zip(end, columns, strict=True):
        np.testing.assert_allclose(got, due[1:], atol=1e-9)


@pytest.mark.parametrize("middle", [0.5, 0.3])
@pytest.mark.parametrize("share", [0.1, 0.2, 0.5])
@pytest.mark.parametrize("step", [0.004, 0.02])
def test_a_triangle_within_an_interval_stays_within_the_bound(step, share, middle):
    """Three changes of jerk between two samples, of the slope that the program has elsewhere: its height is J w / 2."""
    jerk, at, width = 400.0, 0.5 + middle * step, share * step
    breaks = [0.0, 0.1, 0.12, 0.3, 0.32, at - width / 2, at, at + width / 2, 0.9]
    slopes = np.array([0.0, jerk, 0.0, -jerk, 0.0, jerk, -jerk, 0.0])
    starts = np.concatenate([[0.0], np.cumsum(slopes * np.diff(breaks))[:-1]])
    law = PPoly(np.stack([slopes, starts]), breaks)
    speed = law.antiderivative()
    t = np.arange(0.0, 0.9, step)
    rows = [row(t)[:, None] for row in (speed.antiderivative(), speed, law)]
    given = Samples(t, *rows, np.zeros((3, 1)))
    found, inside = law_between(given), int(np.searchsorted(t, at)) - 1
    x = np.linspace(0.0, 1.0, 201)
    most = evaluated(given, found, np.full(x.size, inside), x)[2].max() + found.slack[inside, 0]
    assert most >= jerk * width / 2


@pytest.mark.parametrize("share", [0.15, 0.5])
def test_a_triangle_as_steep_as_a_short_rise_elsewhere(share):
    """A rise over a part of one interval is known by its two kinks; its slope is that of the program."""
    step, jerk, width = 0.004, 400.0, 0.3 * 0.004
    rise, at = share * step, 0.4 + 0.5 * step
    breaks = [0.0, 0.1 + 0.3 * step, 0.1 + 0.3 * step + rise, at - width / 2, at, at + width / 2, 0.6]
    slopes = np.array([0.0, jerk, 0.0, jerk, -jerk, 0.0])
    starts = np.concatenate([[0.0], np.cumsum(slopes * np.diff(breaks))[:-1]])
    law = PPoly(np.stack([slopes, starts]), breaks)
    speed = law.antiderivative()
    t = step * np.arange(150)
    _, found = law_of(t, [row(t)[:, None] for row in (speed.antiderivative(), speed, law)])
    assert not found.loose[25, 0]
    assert found.loose[100, 0]
    assert found.slack[100, 0] >= jerk * width / 2


class Sines:
    """Accelerations that are no polynomials: three sines of 0.3 to 2.2 Hz a joint."""

    def __init__(self, seed):
        random = np.random.default_rng(seed)
        self.size, self.rate, self.phase = random.uniform([[[-1]], [[2]], [[0]]], [[[1]], [[14]], [[6]]], (3, 3, 3))

    def at(self, t):
        x = t[:, None, None] * self.rate + self.phase
        laws = np.sin(x) / self.rate**2, np.cos(x) / self.rate, -np.sin(x)
        return tuple((self.size * rows).sum(axis=1) for rows in laws)


@pytest.mark.parametrize(("step", "wide"), [(0.004, 1e-5), (0.02, 1e-3), (0.05, 0.03)])
def test_smooth_laws_of_any_kind_cost_little(step, wide):
    """What two neighbours differ by, as polynomials of degree five, is what either may be off."""
    for seed in range(3):
        found = Sines(seed)
        t = np.arange(0.0, 2.0, step)
        given, law = law_of(t, found.at(t))
        true = np.abs(found.at(np.arange(0.0, t[-1], 1e-4))[2]).max(axis=0)
        assert (highest(given, law) >= true * (1 - 1e-6)).all()
        assert (highest(given, law) <= true * (1 + wide)).all()


def test_a_bump_is_smoothed_over_only_where_its_mean_is_small():
    """A triangle over a quarter of an interval of a minimum-jerk move is eight times its mean high."""
    t, mean = np.arange(0.0, 1.0, 0.004), 1.4e-4 * 10.0 / np.sqrt(3.0)
    late = np.clip(t[:, None] - t[125] - np.array([1.5e-3, 2.0e-3, 2.5e-3]), 0.0, None)
    slopes = 8.0 * mean / 5e-4 * np.array([1.0, -2.0, 1.0])
    smooth = 10 * t**3 - 15 * t**4 + 6 * t**5, 30 * t**2 * (1 - t) ** 2, 60 * t * (1 - t) * (1 - 2 * t)
    bumps = (late**k @ slopes / size for k, size in ((3, 6), (2, 2), (1, 1)))
    given, law = law_of(t, [(c + b)[:, None] for c, b in zip(smooth, bumps, strict=True)])
    x = t[125] + 2e-3
    found = evaluated(given, law, np.array([125]), np.array([0.5]))[2][0, 0]
    assert found + law.slack[125, 0] >= 60 * x * (1 - x) * (1 - 2 * x) + 8.0 * mean
