"""Programs whose position, speed and acceleration are known exactly at any time."""

import numpy as np


def minimum_jerk(t, start, duration, distance):
    """Position, speed, acceleration of a move from rest to rest (Flash & Hogan, J. Neurosci. 5(7), 1985)."""
    s = np.clip((t - start) / duration, 0, 1)
    return np.stack(
        [
            distance * s**3 * (10 - 15 * s + 6 * s**2),
            distance / duration * 30 * s**2 * (1 - s) ** 2,
            distance / duration**2 * 60 * s * (1 - s) * (1 - 2 * s),
        ]
    )


class Pieces:
    """Motion of constant jerk over each of several times, with jumps of acceleration at their starts."""

    def __init__(self, lasts, jerks, jumps):
        self.starts = np.concatenate([[0.0], np.cumsum(lasts)])
        self.jerks = np.asarray(jerks)
        state = [np.zeros(3)]
        for last, jerk, jump in zip(lasts, jerks, jumps, strict=True):
            q, v, a = state[-1] + [0, 0, jump]
            state[-1] = np.array([q, v, a])
            state.append(self._later(state[-1], jerk, last))
        self.state = np.array(state)

    @staticmethod
    def _later(state, jerk, h):
        q, v, a = np.moveaxis(np.asarray(state), -1, 0)
        return np.stack(
            [q + v * h + a * h**2 / 2 + jerk * h**3 / 6, v + a * h + jerk * h**2 / 2, a + jerk * h], axis=-1
        )

    def __call__(self, t):
        i = np.clip(np.searchsorted(self.starts, t, "right") - 1, 0, len(self.jerks) - 1)
        return self._later(self.state[i], self.jerks[i], t - self.starts[i]).T


def smooth_moves(rng, seconds):
    moves, t = [], 0.1
    while t < seconds - 1.4:
        duration = rng.uniform(0.3, 1.2)
        moves.append((t, duration, rng.uniform(0.2, 1.5) * rng.choice([-1, 1])))
        t += duration * rng.uniform(0.6, 1.1) + rng.uniform(0, 0.3)
    return lambda x: sum(minimum_jerk(x, *move) for move in moves)


def s_curves(rng, seconds):
    lasts, jerks = [], []
    while sum(lasts) < seconds - 2:
        ramp, hold, cruise = rng.uniform(0.04, 0.15), rng.uniform(0, 0.2), rng.uniform(0, 0.4)
        jerk = rng.uniform(0.5, 4) * rng.choice([-1, 1]) / ramp
        lasts += [rng.uniform(0.05, 0.4), ramp, hold, ramp, cruise, ramp, hold, ramp]
        jerks += [0, jerk, 0, -jerk, 0, -jerk, 0, jerk]
    return Pieces([*lasts, seconds], [*jerks, 0.0], np.zeros(len(jerks) + 1))


def trapezoids(rng, seconds):
    lasts, jumps = [], []
    while sum(lasts) < seconds - 2:
        a = rng.uniform(0.5, 4) * rng.choice([-1, 1])
        ramp, cruise = rng.uniform(0.1, 0.4), rng.uniform(0.02, 0.4)
        lasts += [rng.uniform(0.05, 0.4), ramp, cruise, ramp, 0.05]
        jumps += [0, a, -a, -a, a]
    return Pieces([*lasts, seconds], np.zeros(len(jumps) + 1), [*jumps, 0.0])
