"""What a person describes: pad materials, pads, gripper, part, phases of the program, targets.

All lengths, masses and stresses are SI. Frames: the tool frame has its origin on the pad plane and +z
out of the pads into the part; a pad frame has +z into the part as well; part data is given in the tool
frame as gripped.
"""

from gripmargin.workcell.cleaners import Cleaner
from gripmargin.workcell.flange import Flange
from gripmargin.workcell.pads import Gripper, Pad, PadMaterial, Station
from gripmargin.workcell.part import Component, Part, uniform_plate
from gripmargin.workcell.process import Process
from gripmargin.workcell.shapes import polygon
from gripmargin.workcell.stopping import Stop, StopFigure
from gripmargin.workcell.surroundings import Nest, Pick
from gripmargin.workcell.task import Phase, PhaseKind, ReleaseKind, Targets

STANDARD_GRAVITY = 9.80665  # [m/s^2], 3rd CGPM, 1901
STANDARD_AIR_DENSITY = 1.225  # [kg/m^3], at 15 deg C and sea level (ISO 2533, from memory)

__all__ = [
    "STANDARD_AIR_DENSITY",
    "STANDARD_GRAVITY",
    "Cleaner",
    "Component",
    "Flange",
    "Gripper",
    "Nest",
    "Pad",
    "PadMaterial",
    "Part",
    "Phase",
    "PhaseKind",
    "Pick",
    "Process",
    "ReleaseKind",
    "Station",
    "Stop",
    "StopFigure",
    "Targets",
    "polygon",
    "uniform_plate",
]
