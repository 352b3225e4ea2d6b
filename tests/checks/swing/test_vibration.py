"""Natural vibrations and swing of a part on its pads, against closed forms, an ODE solver and MuJoCo."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import gripmargin as gm
from gripmargin.checks.swing.drive import STEP_MISSED, Doubt, estimated_drives, given_drive, spline_missed
from gripmargin.checks.swing.response import Start, better, swing
from gripmargin.checks.swing.vibration import WORDS, modes_of
from gripmargin.contact.backing import Backing
from gripmargin.contact.cells import cut_pads
from gripmargin.contact.loads import load_per_acceleration


def backing_of(part, *pads):
    return Backing(cut_pads(pads, part))


def material(normal=60e6, shear=20e6, damping=None):
    return gm.PadMaterial(
        pull_off_stress=5e4, shear_strength=5e4, normal_stiffness=normal, shear_stiffness=shear, damping_ratio=damping
    )


def block(mass=2.0, com=(0.0, 0.0, 0.0), half=0.05):
    moment = mass * half**2 / 3 * 2
    return gm.Part(mass=mass, com=com, inertia=[moment, moment, 1.3 * moment, 0, 0, 0])


def at_rest(load):
    return Start(sample=0, load=load, rate=np.zeros(6))


class TestModes:
    def test_pull_on_a_pad(self):
        """f = sqrt(k A / m) / 2 pi: k = 60 MPa/m, A = 0.01 m2, m = 2 kg gives 87.172752 Hz (closed form)."""
        part = block()
        modes = modes_of(backing_of(part, gm.Pad.rectangle("pad", material(), [0.1, 0.1])), part)
        assert modes.hertz[modes.names.index("pull")] == pytest.approx(87.172752, abs=1e-6)
        slides = [modes.hertz[modes.names.index(f"slide along {axis}")] for axis in "xy"]
        np.testing.assert_allclose(slides, 87.172752 / np.sqrt(3), rtol=1e-8)

    def test_rock_and_twist_of_a_rectangle(self):
        """Rotational stiffness k I of the area about its axes (strength of materials)."""
        part = block()
        a, b = 0.08, 0.05
        modes = modes_of(backing_of(part, gm.Pad.rectangle("pad", material(), [a, b])), part)
        second = np.array([a * b**3 / 12, b * a**3 / 12])
        stiffness = {"rock about x": 60e6 * second[0], "rock about y": 60e6 * second[1], "twist": 20e6 * second.sum()}
        for name, moment in zip(("rock about x", "rock about y", "twist"), np.diag(part.inertia), strict=True):
            due = np.sqrt(stiffness[name] / moment) / (2 * np.pi)
            assert modes.hertz[modes.names.index(name)] == pytest.approx(due, rel=2e-3)

    @pytest.mark.parametrize("seed", range(5))
    def test_any_part_on_any_pads_against_scipy(self, random_part, seed):
        from scipy.linalg import eigh

        random = np.random.default_rng(seed)
        part = random_part(random)
        pads = [
            gm.Pad.rectangle(
                f"pad {i}",
                material(*10 ** random.uniform(6, 8, 2)),
                random.uniform(0.01, 0.1, 2),
                at=gm.pose(random.uniform(-0.2, 0.2, 3), random.uniform(-1, 1, 3)),
            )
            for i in range(3)
        ]
        backing = backing_of(part, *pads)
        modes = modes_of(backing, part)
        mass = -load_per_acceleration(part)
        due = np.sqrt(eigh(backing.stiffness, mass, eigvals_only=True))
        np.testing.assert_allclose(modes.frequency, due, rtol=1e-7)
        np.testing.assert_allclose(modes.loads @ modes.shapes.T, np.eye(6), atol=1e-7)
        np.testing.assert_allclose(modes.shapes.T @ backing.stiffness @ modes.shapes, np.eye(6), atol=1e-7)

    def test_frequencies_do_not_depend_on_where_the_tool_origin_is(self):
        part, pad = block(com=(0.01, -0.02, 0.03)), gm.Pad.rectangle("pad", material(), [0.06, 0.04])
        move = gm.pose((0.3, -0.2, 0.1), (0.4, -0.3, 0.8))
        moved = gm.Pad.rectangle("pad", material(), [0.06, 0.04], at=move)
        here = modes_of(backing_of(part, pad), part).frequency
        there = modes_of(backing_of(part.placed(move), moved), part.placed(move)).frequency
        np.testing.assert_allclose(here, there, rtol=1e-7)

    def test_places_move_with_the_part(self):
        """As by a turn through a small angle and a way (scipy)."""
        part = block(0.4, (0.01, 0, 0.02))
        modes = modes_of(backing_of(part, gm.Pad.rectangle("pad", material(), [0.03, 0.02])), part)
        places, small = np.array([[0.04, -0.01, 0.0], [0.0, 0.02, 0.03]]), 1e-6 / np.abs(modes.shapes).max()
        for k, shape in enumerate(small * modes.shapes.T):
            due = Rotation.from_rotvec(shape[3:]).apply(places) + shape[:3] - places
            np.testing.assert_allclose(small * modes.moved(places)[:, :, k], due, atol=1e-13)

    def test_names_say_what_moves(self):
        part = block(com=(0, 0, 0.06))
        names = modes_of(backing_of(part, gm.Pad.rectangle("pad", material(), [0.05, 0.03])), part).names
        assert set(" with ".join(names).split(" with ")) <= set(WORDS)
        assert {"pull", "twist"} <= set(names)
        assert any(name.startswith(("rock about x with slide along y", "slide along y")) for name in names)

    def test_a_second_word_says_what_takes_a_quarter_of_the_motion(self):
        """Of two pairs of coupled modes the second motion has 32 % and 20 % of the energy."""
        part = block(com=(0, 0, 0.02))
        names = modes_of(backing_of(part, gm.Pad.rectangle("pad", material(), [0.1, 0.05])), part).names
        due = {"rock about x with slide along y", "slide along y with rock about x", "slide along x", "rock about y"}
        assert set(names) == {*due, "twist", "pull"}

    def test_damping_is_weighted_with_what_each_pad_takes(self):
        part = block()
        pads = [
            gm.Pad.rectangle("left", material(damping=0.2), [0.02, 0.02], at=gm.pose((-0.05, 0, 0))),
            gm.Pad.rectangle("right", material(damping=None), [0.02, 0.02], at=gm.pose((0.05, 0, 0))),
        ]
        modes = modes_of(backing_of(part, *pads), part)
        np.testing.assert_allclose(modes.damping, 0.1, rtol=1e-9)  # both take half of every mode; one gives nothing
        same = modes_of(
            backing_of(
                part, *(gm.Pad.rectangle(p.name, material(damping=0.07), [0.02, 0.02], at=p.pose_in_tool) for p in pads)
            ),
            part,
        )
        np.testing.assert_allclose(same.damping, 0.07, rtol=1e-9)

    def test_less_than_critical_damping_is_counted_on(self):
        part = block()
        for given, counted in ((0.9, 0.9), (0.99, 0.95)):
            pad = gm.Pad.rectangle("pad", material(damping=given), [0.02, 0.02])
            np.testing.assert_allclose(modes_of(backing_of(part, pad), part).damping, counted, rtol=1e-9)

    def test_a_rod_without_inertia_about_its_axis_has_five_modes(self):
        part = gm.Part(mass=0.5, com=[0, 0, 0.05], inertia=[4e-4, 4e-4, 0.0, 0, 0, 0])
        modes = modes_of(backing_of(part, gm.Pad.rectangle("pad", material(), [0.03, 0.03])), part)
        assert modes.frequency.size == 5
        assert np.isfinite(modes.shapes).all()


class TestSwing:
    def test_six_degrees_of_freedom_against_an_ode_solver(self, random_part):
        """Newton's equations of the part on its pads, integrated as they stand (scipy, DOP853)."""
        from scipy.integrate import solve_ivp

        random = np.random.default_rng(8)
        part = random_part(random)
        pads = [
            gm.Pad.rectangle(
                f"p{i}",
                material(10 ** random.uniform(6.5, 7.5), 10**6.5),
                [0.03, 0.05],
                at=gm.pose(random.uniform(-0.1, 0.1, 3), random.uniform(-0.5, 0.5, 3)),
            )
            for i in range(2)
        ]
        backing = backing_of(part, *pads)
        modes = modes_of(backing, part)
        mass, stiffness = -load_per_acceleration(part), backing.stiffness
        t = np.linspace(0.0, 4.0 / modes.hertz[0], 60)
        wrench = np.cumsum(random.normal(size=(6, 60)), axis=1)
        rate = random.normal(size=6) * 1e-3
        found = swing(modes, given_drive(modes, t, wrench), Start(sample=0, load=wrench[:, 0], rate=rate))
        carried = modes.loads @ found.response()
        state = np.concatenate([backing.compliance @ wrench[:, 0], rate])
        for i in range(59):
            slope = (wrench[:, i + 1] - wrench[:, i]) / (t[i + 1] - t[i])

            def motion(time, y, i=i, slope=slope):
                force = wrench[:, i] + slope * (time - t[i]) - stiffness @ y[:6]
                return np.concatenate([y[6:], np.linalg.solve(mass, force)])

            state = solve_ivp(motion, (t[i], t[i + 1]), state, method="DOP853", rtol=1e-10, atol=1e-13).y[:, -1]
            due = stiffness @ state[:6]
            np.testing.assert_allclose(carried[:, i + 1], due, rtol=0, atol=1e-5 * np.abs(carried).max())

    def test_a_tall_block_on_a_cart_against_mujoco(self):
        """A body on six-axis springs, on a cart 1e7 times as heavy that forces accelerate by steps."""
        import mujoco

        a, b, kn, kt = 0.04, 0.03, 3e7, 1e7
        part = gm.Part(mass=0.3, com=[0.004, -0.003, 0.03], inertia=[1.2e-4, 1.5e-4, 1.0e-4, 0, 0, 0])
        k = np.array([kt, kt, kn]) * a * b
        turn = np.array([kn * a * b**3 / 12, kn * b * a**3 / 12, kt * (a * b**3 + b * a**3) / 12])
        heavy = 1e7

        def joint(kind, axis, stiffness):
            return f"<joint type='{kind}' axis='{axis}' stiffness='{stiffness:.12g}' damping='0'/>"

        axes = ("1 0 0", "0 1 0", "0 0 1")
        x, y, z = part.com
        springs = "".join(joint("slide", *pair) for pair in zip(axes, k, strict=True))
        springs += "".join(joint("hinge", *pair) for pair in zip(axes, turn, strict=True))
        carts = "".join(f"<joint type='slide' axis='{axis}'/>" for axis in axes)
        model = mujoco.MjModel.from_xml_string(f"""<mujoco><compiler angle='radian'/>
            <option gravity='0 0 0' timestep='5e-5' integrator='RK4'/><worldbody><body>{carts}
            <inertial pos='0 0 0' mass='{heavy}' diaginertia='1 1 1'/><body>{springs}
            <inertial pos='{x} {y} {z}' mass='{part.mass}' diaginertia='1.2e-4 1.5e-4 1e-4'/>
            </body></body></worldbody></mujoco>""")
        data = mujoco.MjData(model)
        times = np.arange(4000) * 5e-5
        steps = np.array([[0.5, 0.2, -0.3], [-0.4, 0.3, 0.2], [0.0, 0.0, 0.0]])
        which = np.minimum((times / 0.06).astype(int), 2)
        due = np.empty((6, times.size))
        for i in range(times.size):
            due[:, i] = np.concatenate([k, turn]) * data.qpos[3:]
            data.qfrc_applied[:3] = heavy * steps[which[i]]
            mujoco.mj_step(model, data)
        backing = backing_of(part, gm.Pad.rectangle("pad", material(kn, kt), [a, b]))
        modes = modes_of(backing, part)
        per = load_per_acceleration(part)[:, :3]
        knots = np.array([0.0, 0.06 - 1e-7, 0.06, 0.12 - 1e-7, 0.12, 0.2])
        levels = steps[[0, 0, 1, 1, 2, 2]]
        t = np.unique(np.concatenate([times, knots]))
        accelerations = np.stack([np.interp(t, knots, levels[:, c]) for c in range(3)])
        found = swing(modes, given_drive(modes, t, per @ accelerations), at_rest(np.zeros(6)))
        carried = (modes.loads @ found.response())[:, np.searchsorted(t, times)]
        for rows in (slice(3), slice(3, 6)):
            size = np.abs(due[rows]).max()
            assert np.abs(carried[rows] - due[rows]).max() < 0.01 * size

    def test_in_other_units_of_time_and_mass_it_is_the_same_swing(self):
        """Pads s times as stiff under a program sqrt(s) times as fast: the same response."""
        part = block(0.4, (0.01, 0, 0.02))
        t = np.linspace(0, 0.6, 200)
        wrench = np.random.default_rng(0).normal(size=(6, 200))
        soft = modes_of(backing_of(part, gm.Pad.rectangle("pad", material(2e7, 1e7), [0.03, 0.03])), part)
        hard = soft.stiffer(9.0)
        one = swing(soft, given_drive(soft, t, wrench), at_rest(wrench[:, 0]))
        other = swing(hard, given_drive(hard, t / 3, wrench), at_rest(wrench[:, 0]))
        np.testing.assert_allclose(soft.loads @ one.response(), hard.loads @ other.response(), rtol=1e-9, atol=1e-9)
        np.testing.assert_allclose(soft.loads @ one.unsure, hard.loads @ other.unsure, rtol=1e-9, atol=1e-12)

    def test_a_slow_load_is_carried_as_it_is(self):
        part = block(0.4)
        modes = modes_of(backing_of(part, gm.Pad.rectangle("pad", material(), [0.03, 0.03])), part)
        t = np.linspace(0.0, 100.0 / modes.hertz[0], 4001)
        rise = t / t[-1]
        wrench = np.outer([1, -2, 3, 0.1, 0.2, -0.3], 10 * rise**3 - 15 * rise**4 + 6 * rise**5)
        found = swing(modes, given_drive(modes, t, wrench), at_rest(wrench[:, 0]))
        np.testing.assert_allclose(modes.loads @ found.response(), wrench, rtol=0, atol=2e-4)


class TestBounds:
    """What samples do not show."""

    def test_a_spline_is_followed_as_far_as_it_misses_less_of_a_step_than_a_ramp(self):
        assert (spline_missed(np.array([0.1, 1.5, 2.4])) < STEP_MISSED).all()
        assert (spline_missed(np.array([2.6, np.pi, 9.0])) > 100.0).all()

    def test_a_ramp_for_a_step_misses_at_most_the_deepest_trough_of_sinc(self):
        x = np.linspace(0.01, 20.0, 100_001)
        assert pytest.approx((1 - (np.sin(x) / x).min()) / 2, rel=0.01) == STEP_MISSED

    def one(self, hertz, damping=0.0):
        part = block(1.0)
        pad = gm.Pad.rectangle("pad", material((2 * np.pi * hertz) ** 2 / 1e-3, 1e9), [0.1, 0.01])
        modes = modes_of(backing_of(part, pad), part).damped(damping)
        return modes, modes.names.index("pull")

    @pytest.mark.parametrize("hertz", [10.0, 60.0, 130.0, 400.0, 1111.0])
    @pytest.mark.parametrize("seed", range(4))
    def test_curved_loads_stay_within_what_straight_lines_miss(self, hertz, seed):
        """Sines of up to 10 Hz, sampled every 4 ms, against samples every 20 us."""
        random = np.random.default_rng(seed)
        modes, pull = self.one(hertz, 0.02)
        fine = np.arange(0.0, 0.4, 2e-5)
        load = np.zeros((6, fine.size))
        for f, height, phase in zip(
            random.uniform(1, 10, 4), random.normal(size=4), random.uniform(0, 6, 4), strict=True
        ):
            load[2] += height * (np.sin(2 * np.pi * f * fine + phase) - np.sin(phase))
        truth = swing(modes, given_drive(modes, fine, load), at_rest(np.zeros(6)))
        coarse = slice(None, None, 200)
        found = swing(modes, given_drive(modes, fine[coarse], load[:, coarse]), at_rest(np.zeros(6)))
        off = np.abs(truth.response()[pull, coarse] - found.response()[pull])
        assert (off <= found.unsure[pull] + 1e-6 * np.abs(load).max()).all()

    @pytest.mark.parametrize("hertz", [10.0, 60.0, 400.0])
    def test_a_pulse_between_samples_stays_within_the_bound_of_what_may_be_missed(self, hertz):
        """A triangle of 1 N over 4 ms that the samples do not show, at most as high as said; and not far from it."""
        modes, pull = self.one(hertz, 0.02)
        fine = np.arange(0.0, 0.4, 2e-5)
        load = np.zeros((6, fine.size))
        load[2] = np.maximum(0.0, 1.0 - np.abs(fine - 0.102) / 0.002)
        truth = swing(modes, given_drive(modes, fine, load), at_rest(np.zeros(6)))
        coarse, columns = slice(None, None, 200), np.zeros((1, 6, 100))
        columns[0, 2], bias = 1.0, np.zeros((100, 1))
        bias[25:27] = 1.0
        none = np.zeros((100, 1))
        doubt = Doubt(
            columns=columns,
            sigma=none,
            bias=bias,
            window=none,
            unsmoothed=None,
            shaking=np.zeros((2, 100, 1)),
            speed_sigma=none,
            speed_bias=none,
            spin=none,
            noise=np.zeros(1),
        )
        found = swing(modes, given_drive(modes, fine[coarse], load[:, coarse], doubt), at_rest(np.zeros(6)))
        size = np.abs(truth.vibration[pull, coarse][30:]).max()
        assert size <= found.unsure[pull, 30:].max()
        if hertz <= 60.0:
            assert found.unsure[pull, 30:].max() < 2.3 * size  # twice: a pulse of constant height has twice the area

    def test_noise_of_positions_is_as_large_as_said(self):
        """Still positions with white noise: the spread of the swing over many draws against the one predicted."""
        modes, pull = self.one(30.0, 0.03)
        h, n, draws, noise = 0.002, 400, 200, 1e-6
        t = np.arange(n) * h
        from gripmargin.kernels.cubic_spline import spline_rates

        random = np.random.default_rng(5)
        columns = np.zeros((1, 6, n))
        columns[0, 2] = -1.0  # of 1 kg
        last, every = [], np.ones(6, dtype=bool)
        for _ in range(draws):
            y = noise * random.normal(size=(n, 1))
            doubt = Doubt(
                columns=columns,
                sigma=np.full((n, 1), 1e3),
                bias=np.zeros((n, 1)),
                window=np.full((n, 1), 0.05),
                unsmoothed=spline_rates(t, y),
                shaking=np.zeros((2, n, 1)),
                speed_sigma=np.zeros((n, 1)),
                speed_bias=np.zeros((n, 1)),
                spin=np.zeros((n, 1)),
                noise=np.array([noise]),
            )
            drives, rest = estimated_drives(modes, t, np.zeros((6, n)), doubt), at_rest(np.zeros(6))
            found = swing(modes, drives[0].rows_of(drives[1], better(modes, [drives], rest, 2.0, every)), rest)
            last.append(found.response()[pull, n // 2 : -20 : 7])
        spread = np.std(np.array(last), axis=0)
        said = found.sigma[pull, n // 2 : -20 : 7]
        assert 0.8 < np.median(spread / said) < 1.1
