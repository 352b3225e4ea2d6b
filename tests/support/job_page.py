"""The rows of the tables of the job file's page, as the keys of the file declare them."""

import re
from collections.abc import Iterator

from gripmargin.files.column_map import ColumnGroup, Columns, TimeColumn
from gripmargin.files.job_schema import PAD_TABLES, JobFile, table_at
from gripmargin.files.job_values import MOST_OPTIONS
from gripmargin.workcell.fields import Key
from gripmargin.workcell.kinds import (
    Choice,
    Count,
    Flag,
    Heading,
    Kind,
    Named,
    Number,
    OfJoint,
    Pair,
    Pose,
    Row,
    Several,
    Text,
    Within,
)

SEVERAL = ("parts", "picks", "nests")  # whose tables have the keys of those of one
ROW = re.compile(r"^\| `([a-z<][\w.<>[\]]+)` \|.*\n", re.MULTILINE)


def keys_at(*place: int | str) -> Iterator[tuple[str, str, Key]]:
    """Every key of a table and of those within it: its path on the page, the shape of pads that has it, the key."""
    table = table_at(place)
    assert table is not None, place
    shape = str(place[-1]) if place[-1] in PAD_TABLES else ""
    path = ".".join("<name>" if step == "*" else str(step) for step in place if step != shape).replace(".0", "[]")
    for field, key in table.declared.items():
        if isinstance(key.kind, Several):
            for kind in PAD_TABLES if field == "pads" else ("",):
                yield from keys_at(*place, field, 0, *filter(None, [kind]))
        else:
            yield f"{path}.{key.spelled or field}", shape, key


def declared() -> dict[str, list[tuple[str, Key]]]:
    """Every key of the file, with the shapes of pads that have it."""
    found: dict[str, list[tuple[str, Key]]] = {}
    lists: dict[str, tuple[int | str, ...]] = {"materials": ("*",), "cleaners": ("*",), "process": (0,)}
    tables = [(name, *lists.get(name, ())) for name in JobFile.model_fields if name not in SEVERAL]
    for path, shape, key in (item for place in tables for item in keys_at(*place)):
        found.setdefault(path, []).append((shape, key))
    for name, place in (
        ("<pose>", ("robot", "base")),
        ("<face>", ("pick", "face")),
        ("<columns>", ("program", "columns")),
        ("<group>", ("program", "columns", "joints")),
        ("<times>", ("program", "columns", "time")),
    ):
        found |= {path.replace(".".join(place), name): [(shape, key)] for path, shape, key in keys_at(*place)}
    return found


WITHIN = {Columns: "columns", ColumnGroup: "column group", TimeColumn: "column of times"}
SIMPLE = {Flag: "true or false", Heading: "name or number of a column"}


def holds(kind: Kind) -> str:
    """What a key holds, in words."""
    match kind:
        case OfJoint(linear):
            return f"{kind.angular} or {linear}"
        case Number(""):
            return f"number {bounds(kind)}"
        case Number(dimension):
            return dimension if kind.most is None else f"{dimension}, at most {kind.most:g} {written(kind.unit)}"
        case Within(of):
            return WITHIN[of]
        case Count(what):
            return what.removeprefix("the ")
        case Choice():
            return one_of(kind)
        case Text(of):
            return f"text: {of}" if of else "text"
        case Named(each):
            return f"table by name, each {holds(each)}"
        case Pose(is_face):
            return "face" if is_face else "pose"
        case Row(Row(each, count)):
            return f"{'corners' if count == 2 else 'points'}, each {count} {several(each)}"
        case Row(Pair(first, second, third)):
            return f"list of pairs: {holds(first)}, {holds(second)}" + (f"; or with {holds(third)}" if third else "")
        case Row(each, count):
            return f"{count or 'list of'} {'codes' if isinstance(each, Choice) else several(each)}"
    return SIMPLE[type(kind)]


def one_of(kind: Choice) -> str:
    """What may be chosen from, in words where it is much."""
    if kind.what and len(kind.options) > MOST_OPTIONS:
        return "text: " + kind.what.replace("'", "`")
    name = "text" if isinstance(kind.options[0], str) else "number"
    return f"{name}: {', '.join(f'`{option}`' if name == 'text' else str(option) for option in kind.options)}"


def bounds(kind: Number) -> str:
    if kind.above is not None:
        return f"above {kind.above:g}" + ("" if kind.most is None else f", at most {kind.most:g}")
    if kind.below is not None:
        return f"from {kind.least:g} up to {kind.below:g}"
    return f"of at least {kind.least:g}" if kind.most is None else f"from {kind.least:g} to {kind.most:g}"


def several(kind: Kind) -> str:
    """The plural of what a key holds."""
    words = [re.sub(r"^(\w+ (?=of |from )|.*$)", plural, word) for word in holds(kind).split(" or ")]
    return " or ".join(words)


def plural(found: re.Match[str]) -> str:
    word = found[0].rstrip()
    return word + ("" if word in ("text", "") else "s") + " " * (len(found[0]) - len(word))


def written(unit: str) -> str:
    return unit.replace("^2", "²").replace("^3", "³")


def row(path: str, found: list[tuple[str, Key]]) -> str:
    """The row of a key in its table."""
    shapes, keys = zip(*found, strict=True)
    key = keys[0]
    default = key.otherwise or (f"{key.default:g}" if isinstance(key.default, float) else key.default)
    required = "yes" if key.is_required else "no"
    if shapes != ("",) and set(shapes) != set(PAD_TABLES):
        required = f"with `{shapes[0]}`"
    options = [option for each in keys if isinstance(each.kind, Choice) for option in each.kind.options]
    kind = Choice(tuple(options), key.kind.what) if options else key.kind
    meaning = key.doc[:1].lower() + key.doc[1:].removesuffix(".")
    cells = [f"`{path}`", holds(kind), required, default if isinstance(default, str) else "", key.used, meaning]
    return f"| {' | '.join(cells)} |\n".replace("|  |", "| |")


def page(text: str) -> str:
    """The page with the rows of its tables as they are declared."""
    keys = declared()
    shown = ROW.findall(text)
    for path in keys:
        if path not in shown:
            table = path.rpartition(".")[0]
            last = [other for other in shown if other.rpartition(".")[0] == table][-1]
            text = re.sub(rf"^\| `{re.escape(last)}` \|.*\n", rf"\g<0>| `{path}` |\n", text, flags=re.MULTILINE)
            shown.append(path)
    return ROW.sub(lambda found: row(found[1], keys[found[1]]) if found[1] in keys else "", text)
