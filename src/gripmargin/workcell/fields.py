"""A field of the job is declared once: what it means in the docstring of its class, what it holds beside its name.

From the declaration come the check of a value that is built in Python, units and shapes in the docstring, the key of
the job file with its published schema, and the row of the page that describes the file.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import KW_ONLY, MISSING, Field, dataclass, field, fields, replace
from functools import cache
from types import UnionType
from typing import Any, ClassVar, Union, dataclass_transform, get_args, get_origin, get_type_hints

from gripmargin.base.arrays import Value
from gripmargin.base.docstrings import attributes, with_attributes
from gripmargin.base.errors import InputError
from gripmargin.base.given import of_class
from gripmargin.workcell.kinds import ANYTHING, Kind, checked, note

CONTACT = "all but flange"  # the checks that count on how part and pads touch
# The field that is at fault (empty: the value as a whole), what was found, what is expected, and what to do.
Fault = tuple[str, str, str] | tuple[str, str, str, str]


@dataclass(frozen=True)
class Key:
    """What is declared of a field.

    Attributes:
        kind: What it holds.
        used: The checks that it enters, as the page of the file has it; empty: it is no key of the file.
        default: Its value where it is not given; ...: it has to be given in Python.
        absent: What counts where it is not given, in words. With such words the file may leave out even what Python
            may not.
        like: Another field, whose value counts where it is not given.
        spelled: The key in the file, where it is not the name of the field.
        table: The table of the file that has it, where that is not the table of the class.
        after: Of a key that only the file has: the key that it follows; empty: the last one.
        doc: What it means; of a field from the docstring of its class.
    """

    kind: Kind
    used: str = ""
    _: KW_ONLY
    default: Any = ...
    absent: str = ""
    like: str = ""
    spelled: str = ""
    table: str = ""
    after: str = ""
    doc: str = ""

    @property
    def is_required(self) -> bool:
        """Whether the file has to give it."""
        return self.default is ... and not self.absent

    @property
    def otherwise(self) -> str:
        """What counts where it is not given, in words, where that is no figure."""
        return f"that of `{self.like}`" if self.like else self.absent


def key(
    kind: Kind = ANYTHING, used: str = "", *, default: Any = ..., default_factory: Any = MISSING, **more: str
) -> Any:
    """Declare a field of a `Declared` class; the arguments are attributes of `Key`."""
    declared = Key(kind=kind, used=used, default=default, **more)
    given = MISSING if default is ... else default
    return field(default=given, default_factory=default_factory, metadata={"key": declared})


@dataclass_transform(eq_default=False, frozen_default=True, kw_only_default=True, field_specifiers=(key,))
class Declared(Value):
    """Base of what a person describes: a frozen dataclass whose fields are declared by `key`.

    A value is checked when it is built: first each field by what it holds, then what has to fit together.

    Attributes:
        called: What messages call a value, before the names of its fields.
        keys: What is declared of each field.
    """

    __dataclass_fields__: ClassVar[dict[str, Field[Any]]]  # which the transform leaves out
    called: ClassVar[str]
    keys: ClassVar[Mapping[str, Key]]

    def __init_subclass__(cls, called: str = "") -> None:
        """Make a dataclass of the class, and complete its docstring."""
        super().__init_subclass__()
        dataclass(frozen=True, eq=False, kw_only=True)(cls)
        docs = attributes(cls)
        cls.called = called
        cls.keys = {f.name: replace(f.metadata["key"], doc=docs.get(f.name, "")) for f in fields(cls)}
        cls.__doc__ = with_attributes(cls, lambda name, text: _with_unit(text, cls.keys[name]))

    def __post_init__(self) -> None:
        self.check_classes()
        for name, declared in self.keys.items():
            value = getattr(self, name)
            if value is not None or declared.default is not None:
                put(self, name, checked(declared.kind, value, self.place(name)))
        for name, *facts in self.faults():
            raise InputError(self.place(name), *facts)

    def check_classes(self) -> None:
        """Refuse fields that hold another value than one of their class."""
        for name, kinds in _classes(type(self)).items():  # type: ignore[arg-type]
            value = getattr(self, name)
            if value is not None or self.keys[name].default is not None:
                of_class(value, kinds, self.place(name))

    def place(self, name: str) -> str:
        """Return what messages call a field; or the value itself, where the name is empty."""
        return ".".join(filter(None, (self.called, name)))

    def faults(self) -> Iterable[Fault]:
        """Return what does not fit together; the first is said."""
        return ()


@cache
def _classes(cls: type[Declared]) -> dict[str, tuple[type, ...]]:
    """Fields that hold one value of a class that a person builds, with that class or those."""
    out = {}
    for name, hint in get_type_hints(cls).items():
        kinds = tuple(
            kind for kind in (get_args(hint) or (hint,)) if isinstance(kind, type) and issubclass(kind, Value)
        )
        if name in cls.keys and kinds and get_origin(hint) in (None, Union, UnionType):
            out[name] = kinds
    return out


def put(target: object, name: str, value: object) -> None:
    """Store a checked value in a frozen dataclass."""
    object.__setattr__(target, name, value)


def _with_unit(text: str, declared: Key) -> str:
    """What an attribute means, with unit and shape behind its first clause, and what None stands for."""
    first, *rest = re.split(r"(?=[;:] |\. |\.$)", text, maxsplit=1)
    unit, may_miss = note(declared.kind), declared.default is None
    text = f"{first}{unit and (' ' if unit.startswith('[') else ', ')}{unit}"
    text += (", or None" if may_miss and not declared.otherwise else "") + "".join(rest)
    return f"{text.removesuffix('.')}; None: {declared.otherwise}." if may_miss and declared.otherwise else text
