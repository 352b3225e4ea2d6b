"""Arithmetic of robot descriptions, worked out over its syntax tree: no code is run, and every step is bounded.

What is known: numbers, texts, lists and tables, arithmetic, comparisons, conditions, the functions of `math`, and a few
of Python's own. Everything else is an error.
"""

from __future__ import annotations

import ast
import math
import operator
import warnings
from collections.abc import Callable, Mapping
from typing import Any, Final

LONGEST: Final = 10_000  # [characters or entries] of a text, a list, an expression
_TOO_LONG: Final = "a text or list that is too long"
LARGEST: Final = 10**300  # of a whole number, as of a float

Lookup = Callable[[str], Any]  # the value of a name, or KeyError


class ExpressionError(Exception):
    """An expression that is not known here, or that cannot be worked out; what is due, and what to do about it."""

    def __init__(self, found: str, due: str = "what can be worked out without running code", remedy: str = "") -> None:
        self.due, self.remedy = due, remedy
        super().__init__(found)


class Space(dict[str, Any]):
    """Names behind a dot, such as those of `math`."""


def _power(base: Any, exponent: Any) -> Any:
    whole = isinstance(base, int) and isinstance(exponent, int) and abs(base) > 1 and exponent > 0
    if whole and exponent * math.log10(abs(base)) > 300:
        raise ExpressionError("a number that is too large")
    return base**exponent


def _times(a: Any, b: Any) -> Any:
    for many, count in ((a, b), (b, a)):
        if isinstance(many, str | list) and isinstance(count, int) and len(many) * count > LONGEST:
            raise ExpressionError(_TOO_LONG)
    return a * b


def _remainder(a: Any, b: Any) -> Any:
    if isinstance(a, str):
        raise ExpressionError("a text that is filled in by %")
    return a % b


def _range(*given: Any) -> list[int]:
    numbers = range(*given)
    if len(numbers) > LONGEST:
        raise ExpressionError(_TOO_LONG)
    return list(numbers)


def _round(number: Any, digits: int | None = None) -> Any:
    if digits is not None and abs(digits) > 300:
        raise ExpressionError("a number of too many digits")
    return round(number, digits)


def _sum(values: Any) -> Any:
    return sum(values)  # of numbers: lists are not joined


def _weight(value: Any) -> int:
    """How much a value holds, in characters and entries; no more is counted than is allowed."""
    if isinstance(value, str):
        return len(value)
    weight = 1
    if isinstance(value, list | tuple | dict) and not isinstance(value, Space):
        for each in value.values() if isinstance(value, dict) else value:
            weight += _weight(each)
            if weight > LONGEST:
                break
    return weight


def as_text(value: Any) -> str:
    """Return what stands in a text for a value.

    Raises:
        ExpressionError: A list, a table or a function.
    """
    if not isinstance(value, str | int | float | None):
        raise ExpressionError("a list, a table or a function where a text is due")
    return str(value)


def _split(text: str, separators: str = ",; ") -> list[str]:
    for each in separators:
        text = text.replace(each, " ")
    return text.split()


_BINARY: Final[dict[type, Callable[[Any, Any], Any]]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: _times,
    ast.Div: operator.truediv,
    ast.FloorDiv: operator.floordiv,
    ast.Mod: _remainder,
    ast.Pow: _power,
}
_UNARY: Final[dict[type, Callable[[Any], Any]]] = {
    ast.UAdd: operator.pos,
    ast.USub: operator.neg,
    ast.Not: operator.not_,
}
_COMPARED: Final[dict[type, Callable[[Any, Any], Any]]] = {
    ast.Eq: operator.eq,
    ast.NotEq: operator.ne,
    ast.Lt: operator.lt,
    ast.LtE: operator.le,
    ast.Gt: operator.gt,
    ast.GtE: operator.ge,
    ast.Is: operator.is_,
    ast.IsNot: operator.is_not,
    ast.In: lambda a, b: a in b,
    ast.NotIn: lambda a, b: a not in b,
}
_METHODS: Final = {
    str: {"lower", "upper", "strip", "lstrip", "rstrip", "split", "startswith", "endswith", "find", "count"},
    dict: {"get", "keys", "values", "items"},
    list: {"index", "count"},
}
_UNBOUNDED: Final = ("factorial", "comb", "perm", "prod", "lcm", "pow", "ldexp")  # of whole numbers without end
_MATH: Final = Space(
    {name: each for name, each in vars(math).items() if not name.startswith("_") and name not in _UNBOUNDED}
    | {"pow": math.pow}
)
_PLAIN: Final = {
    "len": len,
    "str": as_text,
    "float": float,
    "int": int,
    "bool": bool,
    "list": list,
    "dict": dict,
    "min": min,
    "max": max,
    "round": _round,
    "abs": abs,
    "sorted": sorted,
    "range": _range,
    "sum": _sum,
    "True": True,
    "False": False,
    "true": True,
    "false": False,
}
GLOBALS: Final[Mapping[str, Any]] = {**_MATH, **_PLAIN, "math": _MATH, "python": Space(_PLAIN), "tokenize": _split}


def evaluate(text: str, names: Lookup) -> Any:
    """Work out an expression.

    Args:
        text: In the syntax of Python.
        names: Gives the value of a name; `KeyError`: there is none, and those of `GLOBALS` count.

    Raises:
        ExpressionError: What stands in it is not known here, or it has no value.
    """
    if len(text) > LONGEST:
        raise ExpressionError(f"an expression of {len(text)} characters")
    try:
        with warnings.catch_warnings(action="ignore"):  # of odd escapes in texts
            tree = ast.parse(text.strip(), mode="eval")
        return _Evaluator(names).value(tree.body)
    except SyntaxError as error:
        raise ExpressionError(f"no expression ({error.msg})") from error
    except (RecursionError, MemoryError) as error:
        raise ExpressionError("an expression nested too deep") from error
    except (ArithmeticError, TypeError, ValueError, LookupError, AttributeError) as error:
        raise ExpressionError(str(error) or type(error).__name__) from error


class _Evaluator:
    def __init__(self, names: Lookup) -> None:
        self.names = names

    def value(self, node: ast.expr) -> Any:
        value = self._value(node)
        if _weight(value) > LONGEST:
            raise ExpressionError(_TOO_LONG)
        if isinstance(value, int) and abs(value) > LARGEST:
            raise ExpressionError("a number that is too large")
        if isinstance(value, complex):
            raise ExpressionError("a number that is not real")
        return value

    def _value(self, node: ast.expr) -> Any:
        match node:
            case ast.Constant(value=bool() | int() | float() | str() | None as value):
                return value
            case ast.Name(id=name):
                return self._named(name)
            case ast.UnaryOp(op=op, operand=operand) if type(op) in _UNARY:
                return _UNARY[type(op)](self.value(operand))
            case ast.BinOp(left=left, op=op, right=right) if type(op) in _BINARY:
                return _BINARY[type(op)](self.value(left), self.value(right))
            case ast.BoolOp(op=op, values=values):
                return self._either(values, until=isinstance(op, ast.Or))
            case ast.Compare():
                return self._compared(node)
            case ast.IfExp(test=test, body=body, orelse=other):
                return self.value(body if self.value(test) else other)
            case ast.List(elts=entries) | ast.Tuple(elts=entries):
                return [self.value(entry) for entry in entries]
            case ast.Subscript(value=of, slice=index):
                return self.value(of)[self._index(index)]
            case ast.Attribute(value=of, attr=name):
                return self._within(self.value(of), name)
            case ast.Call(func=called, args=given, keywords=by_name):
                return self._call(called, given, by_name)
        raise ExpressionError(f"'{ast.unparse(node)[:60]}', which is not known here")

    def _named(self, name: str) -> Any:
        try:
            return self.names(name)
        except KeyError:
            if name in GLOBALS:
                return GLOBALS[name]
        raise ExpressionError(f"the name '{name[:60]}', which is not defined")

    def _either(self, values: list[ast.expr], *, until: bool) -> Any:
        value: Any = not until
        for each in values:
            value = self.value(each)
            if bool(value) is until:
                break
        return value

    def _compared(self, node: ast.Compare) -> bool:
        left = self.value(node.left)
        for op, right in zip(node.ops, node.comparators, strict=True):
            other = self.value(right)
            if not _COMPARED[type(op)](left, other):
                return False
            left = other
        return True

    def _index(self, node: ast.expr) -> Any:
        if isinstance(node, ast.Slice):
            return slice(*(None if part is None else self.value(part) for part in (node.lower, node.upper, node.step)))
        return self.value(node)

    def _within(self, of: Any, name: str) -> Any:
        if isinstance(of, dict) and name in of:
            return of[name]
        kind = next((kind for kind in _METHODS if isinstance(of, kind)), None)
        if isinstance(of, Space) or kind is None or name not in _METHODS[kind]:
            raise ExpressionError(f"'.{name[:60]}', which is not known here")
        return getattr(of, name)

    def _call(self, called: ast.expr, given: list[ast.expr], by_name: list[ast.keyword]) -> Any:
        function = self.value(called)
        if not callable(function) or any(keyword.arg is None for keyword in by_name):
            raise ExpressionError(f"the call of '{ast.unparse(called)[:60]}', which is not known here")
        out = function(
            *(self.value(entry) for entry in given), **{str(each.arg): self.value(each.value) for each in by_name}
        )
        return list(out) if isinstance(out, type({}.keys()) | type({}.values()) | type({}.items())) else out
