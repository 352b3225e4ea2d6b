"""Typed tables of figures that can be read by field, as in ``worst.margin``, and by key, as in ``worst["margin"]``."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields
from typing import Any


class Record(Mapping[str, Any]):
    """Base of the dataclasses for what a check knows beyond its value: details, worst places, causes.

    Its keys are those of the JSON: the names of the fields, in their order. A field made by `part` is a record whose
    keys stand among the others; one made by `if_known` has a key only where it is not None, one made by `aside` none.
    """

    def __iter__(self) -> Iterator[str]:
        return iter(self._tree())

    def __len__(self) -> int:
        return len(self._tree())

    def __getitem__(self, key: str) -> Any:
        return self._tree()[key]

    def _tree(self) -> dict[str, Any]:
        tree: dict[str, Any] = {}
        for each in fields(self):  # type: ignore[arg-type]
            value = getattr(self, each.name)
            if each.metadata.get("aside") or (value is None and each.metadata.get("if_known")):
                continue
            if each.metadata.get("part"):
                tree |= value or {}
            else:
                tree[each.name] = value
        return tree


def part() -> Any:
    """Declare a field that is a record whose keys stand among those of the record it belongs to."""
    return field(metadata={"part": True})


def if_known(default: Any = None) -> Any:
    """Declare a field that has a key only where it is not None."""
    return field(default=default, metadata={"if_known": True})


def aside() -> Any:
    """Declare a field without a key: what sentences say and the JSON does not."""
    return field(metadata={"aside": True})


@dataclass(frozen=True, eq=False)
class NoFigures(Record):
    """No further figures."""
