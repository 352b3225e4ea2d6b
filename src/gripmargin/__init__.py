"""gripmargin: does a part held by passive dry-adhesive pads stay on through a robot program?

The main entrance is `check` (without files) or `check_file` (a job file). Importing this package loads no
robot toolbox and no plotting.
"""

from typing import TYPE_CHECKING, Any

from gripmargin.base.version import __version__ as __version__

if TYPE_CHECKING:
    from gripmargin.base.errors import FaultError, GripmarginError, InputError, InputErrors, RobotError
    from gripmargin.base.poses import pose
    from gripmargin.checks.recorded.check import compare_motion
    from gripmargin.checks.recorded.figures import MotionComparison, MoveComparison
    from gripmargin.files.frames import samples_frame, trajectory_frame, trajectory_from_frame
    from gripmargin.files.job_file import read_job
    from gripmargin.files.messages import message_tree, trajectory_from_message
    from gripmargin.files.report_file import Baseline, read_baseline
    from gripmargin.files.robots import robot_chain, toolbox_chain
    from gripmargin.files.trajectory_file import read_trajectory
    from gripmargin.files.trajectory_writer import trajectory_bytes, write_trajectory
    from gripmargin.files.urdf import read_urdf
    from gripmargin.motion.chain import Chain, chain_from_axes
    from gripmargin.motion.trajectory import JointTrajectory, PoseTrajectory
    from gripmargin.reports.as_json import report_json, report_tree
    from gripmargin.reports.as_junit import junit_xml
    from gripmargin.reports.as_lines import report_lines
    from gripmargin.reports.as_text import report_text
    from gripmargin.reports.html import report_html, reports_html
    from gripmargin.reports.tuning_as_json import tuning_json
    from gripmargin.reports.tuning_as_text import tuning_text
    from gripmargin.results.findings import CheckResult, Finding, NotChecked, Place, Remedy, Verdict
    from gripmargin.results.report import Judgement, Report, Samples
    from gripmargin.results.tuned import Curve, Grasp, Limit, Move, Moves, Override, Retimed, Standstill, Tuning
    from gripmargin.run.baseline import Comparison, Worsening, compare
    from gripmargin.run.live import MarginMeter, Reading
    from gripmargin.run.many import check_files
    from gripmargin.run.one import check, check_file, check_job
    from gripmargin.tuning.tune import tune, tune_file
    from gripmargin.workcell import (
        Flange,
        Gripper,
        Nest,
        Pad,
        PadMaterial,
        Part,
        Phase,
        Pick,
        Stop,
        StopFigure,
        Targets,
        uniform_plate,
    )
    from gripmargin.workcell.job import Job, JointLimits

# Every name is loaded when it is first asked for: a pipeline waits for what it uses, and a test session that only
# loads the plugin for nothing. One row a module.
_LATER = {
    "run.baseline": ("Comparison", "Worsening", "compare"),
    "run.one": ("check", "check_file", "check_job"),
    "checks.recorded.check": ("compare_motion",),
    "checks.recorded.figures": ("MotionComparison", "MoveComparison"),
    "base.errors": ("FaultError", "GripmarginError", "InputError", "InputErrors", "RobotError"),
    "files.frames": ("samples_frame", "trajectory_frame", "trajectory_from_frame"),
    "files.job_file": ("read_job",),
    "files.messages": ("message_tree", "trajectory_from_message"),
    "files.report_file": ("Baseline", "read_baseline"),
    "files.trajectory_file": ("read_trajectory",),
    "files.trajectory_writer": ("trajectory_bytes", "write_trajectory"),
    "files.urdf": ("read_urdf",),
    "results.findings": ("CheckResult", "Finding", "NotChecked", "Place", "Remedy", "Verdict"),
    "run.many": ("check_files",),
    "workcell.job": ("Job", "JointLimits"),
    "run.live": ("MarginMeter", "Reading"),
    "motion.chain": ("Chain", "chain_from_axes"),
    "motion.trajectory": ("JointTrajectory", "PoseTrajectory"),
    "base.poses": ("pose",),
    "results.report": ("Judgement", "Report", "Samples"),
    "reports.as_json": ("report_json", "report_tree"),
    "reports.as_junit": ("junit_xml",),
    "reports.as_lines": ("report_lines",),
    "reports.as_text": ("report_text",),
    "reports.html": ("report_html", "reports_html"),
    "reports.tuning_as_json": ("tuning_json",),
    "reports.tuning_as_text": ("tuning_text",),
    "files.robots": ("robot_chain", "toolbox_chain"),
    "results.tuned": ("Curve", "Grasp", "Limit", "Move", "Moves", "Override", "Retimed", "Standstill", "Tuning"),
    "tuning.tune": ("tune", "tune_file"),
    "workcell": (
        "Flange",
        "Gripper",
        "Nest",
        "Pad",
        "PadMaterial",
        "Part",
        "Phase",
        "Pick",
        "Stop",
        "StopFigure",
        "Targets",
        "uniform_plate",
    ),
}
_MODULE = {name: f"gripmargin.{module}" for module, names in _LATER.items() for name in names}


def __getattr__(name: str) -> Any:
    if name not in _MODULE:
        raise AttributeError(f"module 'gripmargin' has no attribute {name!r}")
    from importlib import import_module  # noqa: PLC0415 - only here

    return getattr(import_module(_MODULE[name]), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})


__all__ = [
    "Baseline",
    "Chain",
    "CheckResult",
    "Comparison",
    "Curve",
    "FaultError",
    "Finding",
    "Flange",
    "Grasp",
    "GripmarginError",
    "Gripper",
    "InputError",
    "InputErrors",
    "Job",
    "JointLimits",
    "JointTrajectory",
    "Judgement",
    "Limit",
    "MarginMeter",
    "MotionComparison",
    "Move",
    "MoveComparison",
    "Moves",
    "Nest",
    "NotChecked",
    "Override",
    "Pad",
    "PadMaterial",
    "Part",
    "Phase",
    "Pick",
    "Place",
    "PoseTrajectory",
    "Reading",
    "Remedy",
    "Report",
    "Retimed",
    "RobotError",
    "Samples",
    "Standstill",
    "Stop",
    "StopFigure",
    "Targets",
    "Tuning",
    "Verdict",
    "Worsening",
    "chain_from_axes",
    "check",
    "check_file",
    "check_files",
    "check_job",
    "compare",
    "compare_motion",
    "junit_xml",
    "message_tree",
    "pose",
    "read_baseline",
    "read_job",
    "read_trajectory",
    "read_urdf",
    "report_html",
    "report_json",
    "report_lines",
    "report_text",
    "report_tree",
    "reports_html",
    "robot_chain",
    "samples_frame",
    "toolbox_chain",
    "trajectory_bytes",
    "trajectory_frame",
    "trajectory_from_frame",
    "trajectory_from_message",
    "tune",
    "tune_file",
    "tuning_json",
    "tuning_text",
    "uniform_plate",
    "write_trajectory",
]
