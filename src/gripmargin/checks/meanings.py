"""What each result, each doubt and each cause that a report names means, why it matters, and what helps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Meaning:
    """What a code stands for.

    Attributes:
        what: What is looked at.
        why: What goes wrong where it is not right.
        helps: What a person can do about it.
    """

    what: str
    why: str
    helps: str


_MEANT = "Mend the job file; where it is meant as it stands, put the code in job.accept, and every report repeats it."

MEANINGS: Final[dict[str, Meaning]] = {
    "preload": Meaning(
        "The press at the pick: at every place of every pad, the share of its full adhesion that the press gave it.",
        "The fibrils stick where they touched. A place that was pressed too little holds little, and the bond begins "
        "to peel there.",
        "Press deeper, bring the tool parallel to the face, stay longer where dwell counts, clean the pads.",
    ),
    "lift_off": Meaning(
        "The margin while the part leaves its tray: its weight and what it takes to break it away, on the bond of the "
        "press.",
        "A part that the tray holds back pulls harder than its weight, and at its edge first.",
        "Mend the preload first; loosen what holds the part back; take it nearer its centre of mass.",
    ),
    "hold": Meaning(
        "The factor on the whole load (weight, motion, air) at which the bond would just break, at every carried "
        "sample. The part is taken as fixed to the tool; swing counts separately.",
        "Tension at the edge of a pad opens the bond there, and an opening bond has less left to carry with.",
        "Slow the move that is named, move the pads towards the centre of mass, take larger or more pads, accelerate "
        "along the face rather than off it.",
    ),
    "peel": Meaning(
        "The margin against a peel front that runs in from the edge of a pad, where the job asks for it.",
        "A thin backing peels at a far lower force than it takes to pull the whole pad off.",
        "Keep the load over the middle of the pads; a stiffer backing; larger pads.",
    ),
    "one_pad_lost": Meaning(
        "The margin of the pads that are left when any one of them has let go.",
        "A dirty or damaged pad fails alone, and its load goes to its neighbours at once.",
        "More pads, farther apart, none of which carries most of the load.",
    ),
    "swing": Meaning(
        "The margin with the part swinging on its soft backing: the factor of hold, with the load that the swing adds.",
        "A move that starts or stops faster than the part can follow adds up to its own load once more, and a rhythm "
        "near a natural frequency adds more.",
        "Let accelerations rise over a period of the lowest mode, slow down, pause between moves, stiffen the backing.",
    ),
    "settle": Meaning(
        "Where the part is when it is set down, beside where the program believes it to be: what is left of the swing.",
        "A part that still swings meets the edge of its nest.",
        "Wait at the last stop, approach more slowly, widen the tolerance of the nest.",
    ),
    "droop": Meaning(
        "How far a part that bends hangs off the plane of its pads, carried and where it is placed, swing included.",
        "A corner that hangs lower than the program believes meets what it is carried over, or the edge of its nest.",
        "Put pads further out, or more of them; run the carry slower; leave more room.",
    ),
    "release": Meaning(
        "Whether the release breaks the bond, and whether the part stays in its nest while the tool leaves.",
        "A bond that is left lifts the part, tips it, or drags it along; a release that is too hard crushes it.",
        "Go farther with the move that breaks the bond (peel, twist, slide, press), hold the part down, use less pad.",
    ),
    "pressure": Meaning(
        "The highest pressure of the pads on the part, beside what the part may take.",
        "Glass breaks and coatings are marked.",
        "Press less deep, bring the tool parallel to the face, use softer or larger pads.",
    ),
    "stop": Meaning(
        "The margin if the robot stopped at any carried sample, on the path or with every axis braking by itself.",
        "A protective stop or a power failure brakes harder than any programmed move, when nobody planned it.",
        "Slow down, set gentler stops where the risk assessment allows it, take stronger pads; keep people out of the "
        "way of a part that may be thrown.",
    ),
    "recorded": Meaning(
        "The margin in the motion that the robot really made, as hold has it for the program.",
        "Robots overshoot, lag and shake; the part feels that and not the program.",
        "Tune the robot's motion, slow the moves that differ most, leave more margin.",
    ),
    "swing_as_run": Meaning(
        "The margin with the part swinging in the motion that the robot really made.",
        "Shaking near a natural frequency of the part on its pads is not in the program.",
        "Find what shakes (gears, a soft stand, a control loop); slow down; take a stiffer backing.",
    ),
    "cleaning": Meaning(
        "How much of the pads' faces a cleaning move presses onto its cleaner, hard, long and often enough.",
        "Pads are cleaned only where they are pressed; an edge that is missed stays dirty, and peels first.",
        "Press deeper, make the stroke longer, bring the pads parallel to the cleaner, repeat the move.",
    ),
    "cleaner": Meaning(
        "What the fixing of the cleaner takes beside what pads that stick to it pull while they leave it.",
        "Pulled straight off, a tacky face holds with all of its area: it comes along, or tears off.",
        "Roll or tilt the pads off; hold the cleaner better; take a less tacky one.",
    ),
    "interval": Meaning(
        "Over how many picks between two cleanings every margin of the pads keeps its target, with pads as dirty.",
        "Dust settles on the fibrils; a margin of fresh pads says nothing of the last pick before a cleaning.",
        "Clean after fewer picks; more or stronger pads; pull dirtier pads, where nobody knows yet.",
    ),
    "flange": Meaning(
        "Gripper and part beside the rated load, moments and inertias of the robot's wrist.",
        "Beyond its rated values a robot wears, faults, or does not follow its program.",
        "A lighter gripper, its mass nearer the flange, another robot, a slower move.",
    ),
    "above_the_face": Meaning(
        "The pads do not come down to the face of the part in its tray or its nest.",
        "Nothing is pressed then, and all that follows is about a part that was never taken.",
        "Look at pick.face, nest.face, robot.tool and robot.base: one of them is not where it is said to be.",
    ),
    "no_bond": Meaning(
        "The press in the tray leaves no bond to speak of.",
        "Whatever the carry does, the part is not held.",
        "Mend what preload says first.",
    ),
    "target": Meaning(
        "A check passes with a figure below 1, because the target is below 1.",
        "Below 1 the part is lost by the checker's own figures.",
        "Raise the target; or accept it, if the figure is no margin of yours to keep.",
    ),
    "density": Meaning("Mass beside volume.", "A slip of units makes a part a thousand times too light.", _MEANT),
    "inertia": Meaning(
        "Inertia beside mass and size.", "Moments of a turning part are wrong by the same factor.", _MEANT
    ),
    "centre_of_mass": Meaning(
        "The centre of mass beside face and pads.",
        "On the wrong side, or in another frame, the peel is another one.",
        _MEANT,
    ),
    "pad_material": Meaning(
        "Strengths and stiffnesses beside what was ever published.", "A slip of units makes any pad hold.", _MEANT
    ),
    "surface_factor": Meaning(
        "How much better than the reference the part's face is said to hold.", "Most real faces hold less.", _MEANT
    ),
    "pad_places": Meaning(
        "Pads beside the part's outline, those of a plane face beside one plane.",
        "Pads that are not in it do not touch, or stand in the part; far too large ones hold anything.",
        _MEANT,
    ),
    "gravity": Meaning(
        "How heavy the part is by job.gravity.",
        "A gravity in mm/s^2 that is read in m/s^2, or the other way round, makes a part of no weight; 0 is taken as "
        "meant.",
        _MEANT,
    ),
    "air_density": Meaning(
        "How dense the air is by job.air_density.",
        "A density in g/m^3 takes the drag away; 0 is taken as a vacuum that is meant.",
        _MEANT,
    ),
    "pick_place": Meaning("Where the tool comes down on the tray.", "Beside the face nothing is taken.", _MEANT),
    "nest_place": Meaning(
        "Where the tool comes down on the nest.", "Beside the face the part is set on its edge.", _MEANT
    ),
    "phase_order": Meaning("Which phase follows which.", "A part cannot be let go before it is taken.", _MEANT),
    "spacing": Meaning(
        "Samples of a moving tool and the time between them.", "What happens between far samples is not seen.", _MEANT
    ),
    "joint_travel": Meaning(
        "Joint values beside the joints' limits.", "Degrees read as radians turn a robot wildly.", _MEANT
    ),
    "joint_speed": Meaning(
        "Joint speeds beside robot.speed.", "The robot cannot run this program as it stands.", _MEANT
    ),
    "scatter": Meaning(
        "Scatter of the samples beside what would tear the pads off.",
        "If it is motion and not noise, the part does not stay on.",
        "Record or export with more digits, closer samples, or with speeds and accelerations; "
        + _MEANT[0].lower()
        + _MEANT[1:],
    ),
    "tool_travel": Meaning(
        "The tool's speed beside the fastest robots.", "Units of positions or of time are wrong.", _MEANT
    ),
    "short_carry": Meaning(
        "How far the whole carry takes the part.",
        "Metres read as millimetres make a program that hardly moves, and anything holds.",
        _MEANT,
    ),
    "from_below": Meaning(
        "Whether the part hangs from the pads anywhere in the carry, or lies on them all the way.",
        "A tool that is turned over by a wrong angle or axis has the part pressed on by its own weight, and anything "
        "holds.",
        _MEANT,
    ),
    "never_released": Meaning(
        "Whether the part is let go before the program goes on without it.",
        "A part does not leave the pads by itself: what the program does with it after the last phase is not judged.",
        "Name the moves that carry the part on (kind carry), and those that let it go (kind release).",
    ),
    "unnamed_moves": Meaning(
        "Whether the pads come down where parts are taken or left, in moves of which no phase tells anything.",
        "A pick whose moves are not named is not judged, and does not count among the picks that make pads dirty.",
        "Name the moves of that pick in program.phases; where nothing is taken there, name them in a free phase.",
    ),
    "other_place": Meaning(
        "Whether a carried part comes down where the part of another hold lies.",
        "What presses it there or takes it off its pads is not followed: a hold is judged with its own tray and nest.",
        "Carry the part higher over that place or around it; where it is put down there, name the place in its phases.",
    ),
    "moving_start": Meaning(
        "Whether the tool stands still when the part is first carried, where no tray says how it comes onto the pads.",
        "A file cut out of a motion does not tell what that motion before it made the part swing by.",
        "Begin the program at a rest, or give [pick]; where the part hung still all the same, accept it.",
    ),
    "polled": Meaning(
        "Rows of the program that repeat while the robot moves, or leave some out, as in a log that was polled.",
        "Of a log they say nothing of the motion and are left out; sent to a robot as they are they make it stutter.",
        'Accept it where the program is a log; where the rows are sent, state program.stamps = "as given".',
    ),
    "fouling": Meaning(
        "How much of their strength the pads keep at this pick.", "A loss by pick, read far on, says nothing.", _MEANT
    ),
}
