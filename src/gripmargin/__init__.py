"""gripmargin: does a part held by passive dry-adhesive pads stay on through a robot program?

The main entrance is `check` (without files) or `check_file` (a job file). Importing this package loads no
robot toolbox and no plotting.
"""

from gripmargin.checker import check, check_file, check_job
from gripmargin.errors import GripmarginError, InputError, InputErrors, RobotError
from gripmargin.findings import CheckResult, Finding, NotChecked, Verdict
from gripmargin.job import Job
from gripmargin.motion.chain import Chain, chain_from_axes
from gripmargin.motion.trajectory import JointTrajectory, PoseTrajectory
from gripmargin.poses import pose
from gripmargin.report import Report, Samples
from gripmargin.workcell import Gripper, Pad, PadMaterial, Part, Phase, Targets, uniform_plate

__version__ = "0.1.0"

__all__ = [
    "Chain",
    "CheckResult",
    "Finding",
    "GripmarginError",
    "Gripper",
    "InputError",
    "InputErrors",
    "Job",
    "JointTrajectory",
    "NotChecked",
    "Pad",
    "PadMaterial",
    "Part",
    "Phase",
    "PoseTrajectory",
    "Report",
    "RobotError",
    "Samples",
    "Targets",
    "Verdict",
    "chain_from_axes",
    "check",
    "check_file",
    "check_job",
    "pose",
    "uniform_plate",
]
