"""A narrow strip on one pad, by beam elements of its own: what a plate's pads feel along it.

Bending by cubic Hermite elements (Przemieniecki, Theory of Matrix Structural Analysis, 1968, sec. 5.6 and 11.3, from
memory), a Winkler layer, and one slide along the strip, with which the layer's shear bends it half its thickness below
the middle plane. Forces act at their nodes: along x, along the normal, and as a couple about y.
"""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import eigh

import gripmargin as gm
from support.pushed import lowered

G = 9.80665
LENGTH, WIDTH, THICKNESS, HALF = 0.2, 0.008, 0.0016, 0.03  # of the strip, and half the length of its pad [m]
MODULUS, DENSITY, DAMPING = 22e9, 1900.0, 0.08
FILM = {"normal_stiffness": 4e7, "shear_stiffness": 1.6e7, "pull_off_stress": 3e4, "shear_strength": 3e4}
STEP = 0.002  # [m] from node to node
TALL = gm.Component(mass=0.003, at=[0.06, 0.0, 0.025])


@dataclass
class Strip:
    """Nodes along x with deflection and slope each, and last the slide; with a component on a stalk or without."""

    component: gm.Component | None = TALL

    def __post_init__(self):
        self.x = np.linspace(-LENGTH / 2, LENGTH / 2, round(LENGTH / STEP) + 1)
        n, h = 2 * self.x.size + 1, STEP
        self.k, self.springs, self.m = np.zeros((3, n, n))
        place, weight = np.polynomial.legendre.leggauss(4)
        s = (place + 1) / 2
        rows = np.stack([1 - 3 * s**2 + 2 * s**3, h * s * (1 - s) ** 2, 3 * s**2 - 2 * s**3, h * (s**3 - s**2)])
        slopes = np.stack([6 * (s * s - s) / h, 1 - 4 * s + 3 * s * s, 6 * (s - s * s) / h, 3 * s * s - 2 * s])
        bends = np.stack([(12 * s - 6) / h**2, (6 * s - 4) / h, (6 - 12 * s) / h**2, (6 * s - 2) / h])
        along = np.concatenate([THICKNESS / 2 * slopes, np.ones((1, 4))])
        for i, middle in enumerate((self.x[1:] + self.x[:-1]) / 2):
            own, w = [*range(2 * i, 2 * i + 4)], weight * h / 2 * WIDTH
            self.k[np.ix_(own, own)] += MODULUS * THICKNESS**3 / 12 * (bends * w) @ bends.T
            self.m[np.ix_(own, own)] += DENSITY * THICKNESS * (rows * w) @ rows.T
            if abs(middle) < HALF:
                own_too = [*own, n - 1]
                self.springs[np.ix_(own, own)] += FILM["normal_stiffness"] * (rows * w) @ rows.T
                self.springs[np.ix_(own_too, own_too)] += FILM["shear_stiffness"] * (along * w) @ along.T
        self.m[-1, -1] += DENSITY * THICKNESS * WIDTH * LENGTH
        self.weight = -self.m @ self.falling(-G)
        if self.component is not None:
            for axis in (0, 2):
                at = self.felt(np.eye(3)[axis], self.component.at[0], self.component.at[2])
                self.m += self.component.mass * np.outer(at, at)
            self.weight += self.felt([0, 0, self.component.mass * G], self.component.at[0], 0.0)
        self.k += self.springs

    def falling(self, rate):
        out = np.zeros(2 * self.x.size + 1)
        out[:-1:2] = rate
        return out

    def felt(self, force, x, z):
        """What unknowns feel of a force at a place, or handed on at the node at it: with its lever about that."""
        i, out = int(np.argmin(np.abs(self.x - x))), np.zeros(2 * self.x.size + 1)
        out[2 * i] = force[2]
        out[2 * i + 1] = force[2] * (x - self.x[i]) - force[0] * (z - THICKNESS / 2)
        out[-1] = force[0]
        return out

    def use(self, moved):
        """Of the pad by unknowns (n, k), shape (k,): tension and shear over what they may be."""
        held = np.abs(self.x) < HALF + STEP / 2
        w, slope, slide = moved[:-1:2][held], moved[1::2][held], moved[-1]
        tension = FILM["normal_stiffness"] * np.maximum(w, 0.0) / FILM["pull_off_stress"]
        shear = FILM["shear_stiffness"] * (slide + THICKNESS / 2 * slope) / FILM["shear_strength"]
        return np.sqrt(tension**2 + shear**2).max(axis=0)

    def margin(self, force, at):
        """Hanging with a force, at rest."""
        loads = np.column_stack([self.weight, self.weight + self.felt(force, at[0], at[2])])
        return 1.0 / self.use(np.linalg.solve(self.k, loads)).max()

    def droop(self, moved):
        """How far it leaves the line through the ends of its pad, by unknowns (n, k), shape (k,) [m]."""
        w, ends = moved[:-1:2], [int(np.argmin(np.abs(self.x - x))) for x in (-HALF, HALF)]
        line = np.column_stack([HALF - self.x, HALF + self.x]) / (2 * HALF)
        return np.abs(w - line @ w[ends]).max(axis=0)

    def pulled(self, x):
        """What a pull of 1 along it at a node stiffens: even from there to the pad, whose shear takes it up evenly."""
        place, weight = np.polynomial.legendre.leggauss(4)
        s, h, pulled = (place + 1) / 2, STEP, np.zeros_like(self.k)
        slopes = np.stack([6 * (s * s - s) / h, 1 - 4 * s + 3 * s * s, 6 * (s - s * s) / h, 3 * s * s - 2 * s])
        for i, middle in enumerate((self.x[1:] + self.x[:-1]) / 2):
            own, force = [*range(2 * i, 2 * i + 4)], np.clip((middle + HALF) / (2 * HALF), 0.0, 1.0) * (middle < x)
            pulled[np.ix_(own, own)] += force * (slopes * weight * h / 2) @ slopes.T
        return pulled

    def swinging(self, force, at, rise, of=None):
        """Hanging at rest, a force coming over a time: by all of its modes in small steps (Duhamel).

        It stays, or goes as it came at one of many times after. Over the most of the pad's use, or of another figure.
        """
        square, ways = eigh(self.k, self.m, subset_by_index=(0, 24))
        frequency = np.sqrt(square)
        damping = DAMPING * np.einsum("im,ij,jm->m", ways, self.springs, ways) / frequency**2
        load, t = ways.T @ self.felt(force, at[0], at[2]), np.linspace(0.0, 0.1, 2001)
        pole = frequency * (-damping + 1j * np.sqrt(1 - damping**2))
        step, state = np.exp(pole * t[1]), np.zeros(frequency.size, dtype=complex)
        out = np.empty((frequency.size, t.size))
        for k, share in enumerate(np.minimum(1.0, (t + t[1] / 2) / rise) if rise else np.ones_like(t)):
            out[:, k] = (state.imag if k else 0.0) * load / pole.imag
            state = state * step + share * (step - 1.0) / pole  # the impulse response is Im exp(pole t) / w
        rest, steps = np.linalg.solve(self.k, self.weight)[:, None], round(rise / t[1])
        gone = [out[:, k:] - out[:, : out.shape[1] - k] for k in range(steps + 60, steps + 1000, 60)]
        return 1.0 / max((of or self.use)(rest + ways @ each).max() for each in (out, *gone))

    def job(self, *forces, clearance=None, checks=("hold", "swing"), **more):
        """The same as a job: held still, with the forces over a move of 0.4 s."""
        outline = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [LENGTH / 2, WIDTH / 2]
        own, parts = DENSITY * LENGTH * WIDTH * THICKNESS, () if self.component is None else (self.component,)
        mass = own + sum(each.mass for each in parts)
        com, inertia = gm.uniform_plate(mass, outline, THICKNESS, parts)
        part = gm.Part(
            mass=mass,
            com=com,
            inertia=inertia,
            outline=outline,
            thickness=THICKNESS,
            face="plane",
            youngs_modulus=MODULUS,
            poissons_ratio=0.0,
            components=parts,
            clearance=clearance,
        )
        film = gm.PadMaterial(damping_ratio=DAMPING, **FILM)
        pads = (gm.Pad.rectangle("pad", film, [2 * HALF, WIDTH]),)
        job = lowered(*forces, **more)
        return gm.check_job(
            gm.Job(
                name="strip",
                trajectory=job.trajectory,
                gripper=gm.Gripper(pads=pads),
                part=part,
                process=job.process,
                targets=job.targets,
            ),
            checks=checks,
        )
