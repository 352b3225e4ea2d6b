"""Published sources of the methods that run for a job."""

from __future__ import annotations

from gripmargin.workcell.job import Job

CARRY = (
    "Rigid-body load (Newton and Euler): Craig, Introduction to Robotics, ch. 6 (from memory).",
    "Traction on an elastic layer, N/A + M y/I: strength of materials; Chokshi, eccentrically loaded footings.",
    "Shared margin: limit analysis, Drucker, Prager & Greenberg, Q. Appl. Math. 9:381-389, 1952 (from memory).",
    "Mixed-mode limit on an elastic layer: Kanninen, Int. J. Fract. 9:83, 1973 (from memory).",
    "Swing of a part on its pads: modes of a rigid body on springs; response to loads in straight lines, Chopra, "
    "Dynamics of Structures, ch. 4 and 5 (from memory).",
)
CONTACT = (
    "Contact on a Winkler layer, and the energy let go at its edge, G = sigma^2/2k: Kanninen 1973 (from memory).",
    "Adhesion by preload: linear to full_preload (no source), or the pad's own measured curve.",
    "Restraint of a part on its support: statics of rigid bodies, any text.",
)
AIR = (
    "Drag of a flat plate, coefficient 1.28: NASA Glenn Research Center, Shape Effects on Drag. Added mass of a disc: "
    "Lamb, Hydrodynamics (from memory).",
)
STOPS = (
    "Stop categories: IEC 60204-1 (quoted). Stopping times and distances: ISO 10218-1:2011, Annex B (quoted).",
    "Swing after steps, ramps and pulses of the load: Chopra, Dynamics of Structures, ch. 4 (from memory).",
)
WRIST = (
    "Load at the wrist: centres of mass and parallel axes, any text on mechanics; terms as in ISO 9946 (from memory).",
)


def references(job: Job) -> tuple[str, ...]:
    """Return the sources, in the order in which the methods come."""
    return (
        *CARRY,
        *(AIR if job.part.drag_area is not None else ()),
        *(CONTACT if job.pick or job.nest else ()),
        *(STOPS if job.stop else ()),
        *(WRIST if job.flange else ()),
    )
