"""Small changes of a module's source, made from its syntax tree."""

import ast
import copy
import hashlib
from collections import Counter
from dataclasses import dataclass

OPERATORS = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult}
COMPARISONS = {ast.Lt: ast.Gt, ast.Gt: ast.Lt, ast.LtE: ast.GtE, ast.GtE: ast.LtE, ast.Eq: ast.NotEq}
SWAPS = [("max", "min"), ("maximum", "minimum"), ("fmax", "fmin"), ("argmax", "argmin"), ("any", "all"), ("sin", "cos")]
SWAPPED = {name: other for pair in SWAPS for name, other in (pair, pair[::-1])}


@dataclass(frozen=True)
class Mutant:
    """One change.

    Attributes:
        module: Path of the file under the package, with / between rooms.
        place: Function or class that is changed, with dots; ``<module>`` outside of them.
        what: Kind of change.
        old: Source that is changed, unparsed.
        new: What takes its place.
        span: First and last byte of the old source in the file, shape (2,).
        key: Names it by module, place and change, wherever they stand in the file.
    """

    module: str
    place: str
    what: str
    old: str
    new: str
    span: tuple
    key: str

    def applied(self, source):
        """The file's source (bytes) with the change."""
        first, last = self.span
        return source[:first] + f"({self.new})".encode() + source[last:]


def mutants(module, source):
    """All changes of a module's source (bytes), in the order in which they stand there."""
    starts = [0]
    for line in source.splitlines(keepends=True):
        starts.append(starts[-1] + len(line))
    seen = Counter()
    for place, node in _expressions(ast.parse(source), "<module>"):
        span = starts[node.lineno - 1] + node.col_offset, starts[node.end_lineno - 1] + node.end_col_offset
        old = ast.unparse(node)
        for what, changed in _changes(node):
            new = ast.unparse(changed)
            told = module.rsplit("/", 1)[-1], place, what, old, new
            seen[told] += 1
            key = hashlib.sha256("\n".join([*told, str(seen[told])]).encode()).hexdigest()[:10]
            yield Mutant(module, place, what, old, new, span, key)


def _expressions(node, place):
    """Expressions that are worked out when the program runs, with the function or class that they stand in."""
    for name, field in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list", "keywords", "bases") and not isinstance(node, ast.Call):
            continue
        for child in field if isinstance(field, list) else [field]:
            if not isinstance(child, ast.AST) or isinstance(child, ast.Raise | ast.JoinedStr | ast.Slice):
                continue
            inside = place
            if isinstance(child, ast.FunctionDef | ast.ClassDef):
                inside = child.name if place == "<module>" else f"{place}.{child.name}"
            elif isinstance(child, ast.expr):
                yield place, child
            yield from _expressions(child, inside)


def _changes(node):
    match node:
        case ast.BinOp(left=left, op=op, right=right) if type(op) in OPERATORS and not _text(left) and not _text(right):
            yield "operator", _with(node, op=OPERATORS[type(op)]())
            if isinstance(op, ast.Add | ast.Sub):
                yield "second term dropped", left
                yield "first term dropped", right if isinstance(op, ast.Add) else ast.UnaryOp(ast.USub(), right)
            elif not isinstance(right, ast.Constant):
                yield "factor dropped", left
        case ast.UnaryOp(op=ast.USub() | ast.Invert(), operand=operand) if not isinstance(operand, ast.Constant):
            yield "sign", operand
        case ast.Compare(ops=[op]) if type(op) in COMPARISONS:
            yield "comparison", _with(node, ops=[COMPARISONS[type(op)]()])
        case ast.BoolOp(op=op):
            yield "and/or", _with(node, op=ast.Or() if isinstance(op, ast.And) else ast.And())
        case ast.Constant(value=float(value)) if value != 0.0:
            yield "halved", ast.Constant(0.5 * value)
            yield "doubled", ast.Constant(2.0 * value)
        case ast.Call(func=ast.Name(id=name) as called) if name in SWAPPED:
            yield "swapped", _with(node, func=_with(called, id=SWAPPED[name]))
        case ast.Call(func=ast.Attribute(attr=name) as called) if name in SWAPPED:
            yield "swapped", _with(node, func=_with(called, attr=SWAPPED[name]))


def _with(node, **fields):
    changed = copy.copy(node)
    for name, value in fields.items():
        setattr(changed, name, value)
    return changed


def _text(node):
    return isinstance(node, ast.JoinedStr | ast.Tuple | ast.List) or (
        isinstance(node, ast.Constant) and isinstance(node.value, str)
    )
