"""`gripmargin limits`: which accelerations a part on its pads allows, before there is a path."""

from __future__ import annotations

import argparse
import math
from typing import Any

from gripmargin.base.errors import InputError
from gripmargin.cli.arguments import EXITS, INTERNAL, PASSED, SHORT, UNDECIDED, Commands, Parser, add_command
from gripmargin.cli.outputs import STDOUT, checked_places, say, write_all

LIMITS_EXITS = EXITS.replace("every job passes", "every limit is known").replace(
    "something falls short", "gravity alone is too much, even at the least tilt"
)
_LISTS = {  # what an option gives, and what a unit of it is in SI
    "tilt": ("tilts", math.pi / 180.0, "angles in degrees, 0 to 180, such as 0,15,30"),
    "ramp": ("ramps", 1e-3, "times in milliseconds, such as 50,100"),
    "radius": ("radii", 1e-3, "radii in millimetres, such as 100,300"),
    "speed": ("speed", 1.0, "a speed in metres a second, such as 2"),
}


def add(commands: Commands[Parser]) -> None:
    """Describe the arguments."""
    limits = add_command(
        commands,
        "limits",
        "find out which accelerations any path may have",
        "Find the largest accelerations and speeds that any path may have with this part on these pads. The job may be "
        "without a program.",
    )
    limits.epilog = LIMITS_EXITS
    limits.set_defaults(run=run)
    limits.add_argument("job", metavar="JOB", help="job file, TOML or JSON, with or without [program]")
    limits.add_argument(
        "--tilt", metavar="DEG,...", help="how far the pads may lean from level (default 0,15,30,60,180)"
    )
    limits.add_argument(
        "--ramp",
        metavar="MS,...",
        help="times in which accelerations go from none to their largest (default 50,100,200)",
    )
    limits.add_argument("--radius", metavar="MM,...", help="radii of circles (default 100,300,1000)")
    limits.add_argument("--speed", metavar="M/S", help="largest speed, where the air counts (default 2)")
    limits.add_argument("--grasp", action="store_true", help="also compare pads: materials, numbers, sizes, places")
    limits.add_argument("--html", metavar="FILE", help="write the limits as a page with a figure")
    limits.add_argument("--json", metavar="FILE", help="write the limits as JSON; '-' prints it instead of the text")


def run(options: argparse.Namespace) -> int:
    """Find the limits of the job."""
    asked = {name: value for option in _LISTS for name, value in _given(options, option)}
    places = checked_places({"--json": options.json, "--html": options.html}, [options.job])
    from gripmargin.tuning.limits import limits_file  # noqa: PLC0415 - "--help" need not wait for it

    try:
        found = limits_file(options.job, grasp=options.grasp, **asked)
    except InputError as error:
        option = next((option for option, (name, _, _) in _LISTS.items() if error.where.split("[")[0] == name), None)
        raise error if option is None else error.at(f"--{option}") from error
    texts = {}
    if "--json" in places:
        from gripmargin.reports.limits_as_json import limits_json  # noqa: PLC0415 - only where JSON is wanted

        texts[places["--json"]] = limits_json(found)
    if "--html" in places:
        from gripmargin.reports.html.limits_page import limits_html  # noqa: PLC0415 - only where a page is wanted

        texts[places["--html"]] = limits_html(found)
    write_all(texts)
    if STDOUT in texts:
        heard = say(texts[STDOUT], "--json" if options.json == STDOUT else "--html")
    else:
        from gripmargin.reports.limits_as_text import limits_text  # noqa: PLC0415 - only where text is wanted

        heard = say(limits_text(found)) or bool(places)
    return {"pass": PASSED, "fail": SHORT}.get(str(found.verdict), UNDECIDED) if heard else INTERNAL


def _given(options: argparse.Namespace, option: str) -> list[tuple[str, Any]]:
    """The values of an option, in SI, by the name of the argument of `gripmargin.limits`."""
    text = getattr(options, option)
    if text is None:
        return []
    name, unit, due = _LISTS[option]
    try:
        values = [unit * float(each) for each in text.split(",")]
    except ValueError as error:
        raise InputError(f"--{option}", f"'{text}'", due) from error
    if name == "speed" and len(values) != 1:
        raise InputError(f"--{option}", f"'{text}'", due)
    return [(name, values[0] if name == "speed" else values)]
