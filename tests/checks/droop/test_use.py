"""How far a strip droops under forces of the process at their places, against beam elements of its own."""

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.linalg import eigh

import gripmargin as gm
from gripmargin.checks.droop.use import SOFT, not_followed
from gripmargin.contact.backing import Backing
from gripmargin.contact.cells import cut_pads
from gripmargin.contact.film import softened
from gripmargin.contact.sheet import Sheet
from support import strip as strips
from support.pushed import push
from support.strip import LENGTH, TALL, Strip

ROOM = 1e-3


def drooped(strip, force, at, rise, room=ROOM, **targets):
    shape = {"shape": "ramp", "rise": rise} if rise else {}
    given = gm.Targets(**{"hold": 0.01, "swing": 0.01, **targets})
    (found,) = strip.job(push(force, at, **shape), targets=given, clearance=room, checks=("droop",)).checks
    return found


def hanging(strip, force, at):
    both = np.column_stack([strip.weight, strip.weight + strip.felt(force, at[0], at[2])])
    return strip.droop(np.linalg.solve(strip.k, both)).max()


@pytest.mark.parametrize(
    ("component", "force", "at", "rise", "near"),
    [
        (None, (0, 0, 0.05), (-LENGTH / 2, 0, 0), 0.0, 1.3),  # at an end, at once: it swings by as much again
        (None, (0, 0, -0.05), (0.06, 0, 0), 0.02, 1.5),  # pressed, little by little: up, while the other end hangs
        (TALL, (0.02, 0, 0.03), (LENGTH / 2 + 0.006, 0, 0.006), 0.02, 1.3),  # beside and above it
        (TALL, (-0.05, 0, 0), (0.06, 0, 0.0016), 0.0, 1.3),  # along the face, below a component
    ],
)
def test_what_a_force_at_its_place_adds(component, force, at, rise, near):
    strip = Strip(component)
    found, swung = drooped(strip, force, at, rise), 1.0 / strip.swinging(force, at, rise, of=strip.droop)
    assert ROOM / found.value == pytest.approx(hanging(strip, force, at), rel=2e-3)
    assert ROOM / found.low >= swung / 1.002
    assert ROOM / found.low <= near * swung
    assert ROOM / found.high <= 1.005 * swung


@pytest.mark.parametrize(("share", "verdict"), [(0.98, "fail"), (1.02, "undecided")])
def test_fails_where_it_droops_too_far_at_rest(share, verdict):
    """And is undecided where it is the swing alone that may do it."""
    strip, force, at = Strip(None), (0, 0, 0.05), (-LENGTH / 2, 0, 0)
    assert str(drooped(strip, force, at, 0.0, room=share * hanging(strip, force, at)).verdict) == verdict


def test_a_force_along_the_plane_softens_it():
    """By its share of what buckles the strip, from either side."""
    at, strip, outline = 0.09, Strip(None), np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    film = gm.PadMaterial(**strips.FILM)
    outline = outline * [LENGTH / 2, strips.WIDTH / 2]
    mass = strips.DENSITY * LENGTH * strips.WIDTH * strips.THICKNESS
    com, inertia = gm.uniform_plate(mass, outline, strips.THICKNESS)
    part = gm.Part(
        mass=mass,
        com=com,
        inertia=inertia,
        outline=outline,
        thickness=strips.THICKNESS,
        face="plane",
        youngs_modulus=strips.MODULUS,
        poissons_ratio=0.0,
    )
    pad = gm.Pad.rectangle("pad", film, [2 * strips.HALF, strips.WIDTH])
    model = Sheet.on(Backing(cut_pads((pad,), part)), part).model
    row = model.form.rows(np.array([[at, 0.0]])).toarray().T
    (share,) = softened(model, model.rigidities[0], np.vstack([row, 0 * row]))
    buckled = 1.0 / eigh(strip.pulled(at), strip.k, eigvals_only=True)[-1]
    assert share == pytest.approx(1.0 / buckled, rel=3e-3)


@pytest.mark.parametrize(("share", "verdict"), [(0.95, "pass"), (1.05, "undecided")])
def test_from_which_push_along_the_plane_on_it_counts(share, verdict):
    """From what changes its droop by a quarter of a per cent, of beams that are softened; a bound is not known."""
    at, strip = (0.09, 0, strips.THICKNESS / 2), Strip(None)
    force = share * SOFT / eigh(strip.pulled(at[0]), strip.k, eigvals_only=True)[-1]
    load = strip.weight + strip.felt((-force, 0, 0), at[0], at[2])
    straight, pushed = (
        strip.droop(np.linalg.solve(k, load[:, None]))[0] for k in (strip.k, strip.k - force * strip.pulled(at[0]))
    )
    assert 0.002 < pushed / straight - 1.0 < 0.003
    assert str(drooped(strip, (-force, 0, 0), at, 0.19).verdict) == verdict


def test_what_is_not_followed_is_undecided():
    assert str(drooped(Strip(None), (0, 0, 0.01), (LENGTH / 2 + 0.012, 0, 0), 0.1).verdict) == "undecided"
    uneven = SimpleNamespace(pushes=(None,), grip=SimpleNamespace(backings=(None, None)))
    assert "did not bond everywhere" in not_followed(uneven, None)
