"""Laws of motion with exact positions and accelerations, in which the acceleration has steps."""

import numpy as np


class Pieces:
    """Constant jerk over each of several times, with jumps of acceleration at their starts; at rest after the last."""

    def __init__(self, pieces):
        """Take (lasts, jerk, jump) of each piece."""
        lasts, self.jerks, jumps = (
            np.append(column, last) for column, last in zip(zip(*pieces, strict=True), (1e9, 0, 0), strict=True)
        )
        self.starts = np.concatenate([[0.0], np.cumsum(lasts[:-1])])
        state, self.state = np.zeros(3), []
        for last, jerk, jump in zip(lasts, self.jerks, jumps, strict=True):
            self.state.append(state + np.array([0, 0, jump]))
            state = self._later(self.state[-1], jerk, last)
        self.state = np.array(self.state)
        self.state[-1, 1:] = 0.0

    @staticmethod
    def _later(state, jerk, h):
        q, v, a = np.moveaxis(np.asarray(state), -1, 0)
        return np.stack([q + v * h + a * h**2 / 2 + jerk * h**3 / 6, v + a * h + jerk * h**2 / 2, a + jerk * h], -1)

    def __call__(self, t):
        """Return position, speed and acceleration, shape (3, n)."""
        i = np.clip(np.searchsorted(self.starts, t, "right") - 1, 0, len(self.jerks) - 1)
        return self._later(self.state[i], self.jerks[i], t - self.starts[i]).T


def trapezoids(rng, seconds, step, *, cruises=(0.02, 0.4)):
    """Moves of a constant acceleration, a cruise and the same deceleration, with rests between them."""
    pieces, end = [], 0.0
    while end < seconds - 1.5:
        a = rng.uniform(0.5, 4) * rng.choice([-1, 1])
        ramp, cruise = rng.uniform(0.1, 0.4), rng.uniform(*cruises)
        pieces += [(rng.uniform(0.05, 0.4), 0, 0), (ramp, 0, a)]
        pieces += [(cruise, 0, -a), (ramp, 0, -a)] if cruise else [(ramp, 0, -2 * a)]
        pieces += [(0.05, 0, a)]
        end = sum(lasts for lasts, *_ in pieces)
    return Pieces(pieces)


def bang_bang(rng, seconds, step):
    """Moves of an acceleration and the same deceleration."""
    return trapezoids(rng, seconds, step, cruises=(0.0, 0.0))


def s_curves(rng, seconds, step):
    """Moves limited in jerk."""
    pieces, end = [], 0.0
    while end < seconds - 2:
        ramp, hold, cruise = rng.uniform(0.04, 0.15), rng.uniform(0, 0.2), rng.uniform(0, 0.4)
        jerk = rng.uniform(0.5, 4) * rng.choice([-1, 1]) / ramp
        times = rng.uniform(0.05, 0.4), ramp, hold, ramp, cruise, ramp, hold, ramp
        pieces += [(*piece, 0) for piece in zip(times, (0, jerk, 0, -jerk, 0, -jerk, 0, jerk), strict=True)]
        end = sum(lasts for lasts, *_ in pieces)
    return Pieces([*pieces, (0.1, 0, 0)])


def blends(rng, seconds, step, *, samples=(0.5, 5.0)):
    """Constant speeds with a constant acceleration between them, over few samples."""
    pieces, speed, end = [(rng.uniform(0.05, 0.1), 0, 0)], 0.0, 0.0
    while end < seconds - 0.5:
        after = rng.uniform(-0.5, 0.5) if rng.random() > 0.3 else 0.0
        change, over = after - speed, rng.uniform(*samples) * step
        over = max(over, abs(change) / 20.0)
        pieces += [(over, 0, change / over), (rng.uniform(0.03, 0.3), 0, -change / over)]
        speed, end = after, sum(lasts for lasts, *_ in pieces)
    return Pieces([*pieces, (0.1, 0, -speed / 0.1), (0.1, 0, speed / 0.1)])


class MinimumJerk:
    """Moves from rest to rest of least jerk (Flash & Hogan, J. Neurosci. 5(7), 1985)."""

    def __init__(self, rng, seconds, step):
        self.moves, t = [], 0.1
        while t < seconds - 1.3:
            duration = rng.uniform(0.3, 1.2)
            self.moves.append((t, duration, rng.uniform(0.2, 1.5) * rng.choice([-1, 1])))
            t += duration + rng.uniform(0, 0.3)

    def __call__(self, t):
        """Return position, speed and acceleration, shape (3, n)."""
        out = np.zeros((3, np.size(t)))
        for start, lasts, way in self.moves:
            s = np.clip((t - start) / lasts, 0, 1)
            out[0] += way * s**3 * (10 - 15 * s + 6 * s**2)
            out[1] += way / lasts * 30 * s**2 * (1 - s) ** 2
            out[2] += way / lasts**2 * 60 * s * (1 - s) * (1 - 2 * s)
        return out


LAWS = {
    "trapezoid": trapezoids,
    "bang-bang": bang_bang,
    "S-curve": s_curves,
    "minimum jerk": MinimumJerk,
    "blends": blends,
}


def extremes(law, t, points=40):
    """Least and largest acceleration between neighbouring samples, shape (2, n - 1)."""
    inside = np.concatenate([[1e-9], np.arange(1, points) / points, [1.0 - 1e-9]])
    a = law((t[:-1, None] + np.diff(t)[:, None] * inside).ravel())[2].reshape(t.size - 1, -1)
    return np.stack([a.min(axis=1), a.max(axis=1)])
