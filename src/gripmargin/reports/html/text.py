"""Text and figures on their way into a page: escaped, on one line, never "nan"."""

from __future__ import annotations

import html
import json
import math
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from gripmargin.base.arrays import FloatArray

NONE = "–"
UNBOUNDED = 1e9  # stands for a use without bound in the script's data


UNITS = {"N/cm^2": "N/cm²", "m/s^2": "m/s²", "rad/s^2": "rad/s²", "deg/s^2": "deg/s²"}


def printable(text: object) -> str:
    """Return text on one line, with spaces for control and direction characters, and units as on paper."""
    text = str(text)
    if "^2" in text:
        for plain, raised in UNITS.items():
            text = text.replace(plain, raised)
    return "".join(c if c.isprintable() else " " for c in text)


def safe(text: object) -> str:
    """Return text for an element or a quoted attribute; see `printable`."""
    return html.escape(printable(text), quote=True)


def tag(name: str, content: str = "", /, **attributes: object) -> str:
    """Return an element; attributes are escaped, content is markup.

    An attribute that is None is left out; `class_` and `for_` lose their underscore, other underscores become hyphens.
    """
    said = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{safe(value)}"'
        for key, value in attributes.items()
        if value is not None
    )
    return f"<{name}{said}>{content}</{name}>"


def data_block(tree: Any) -> str:
    """Return JSON for a script element: nothing in it can end the element or be read as markup."""
    text = json.dumps(tree, allow_nan=False, separators=(",", ":"), ensure_ascii=True)
    for mark in "<>&":
        text = text.replace(mark, f"\\u{ord(mark):04x}")
    return text


def number(value: float | None, digits: int = 2) -> str:
    """Return a figure with so many decimals, a true minus sign, and a dash where there is none."""
    if value is None or math.isnan(value):
        return NONE
    if math.isinf(value):
        return "∞" if value > 0 else "−∞"
    if abs(value) >= 1e5:
        return f"{value:.3g}".replace("-", "−").replace("e+", "e")
    rounded = round(value, digits) + 0.0
    return f"{rounded:.{digits}f}".replace("-", "−")


def margin(value: float | None) -> str:
    """Return a margin or ratio: two decimals, fewer from 100 on, and no more than "over 1000"."""
    if value is not None and math.isfinite(value) and abs(value) >= 100:
        return f"{value:.3g}" if value < 999.5 else "over 1000"
    return number(value, 2)


def seconds(value: float | None) -> str:
    """Return a time with its unit."""
    return f"{number(value, 3)} s"


def rounded(values: FloatArray, figures: int = 5) -> list[float | int | None]:
    """Return plain numbers with so many significant figures, None for NaN, `UNBOUNDED` for infinity."""
    out: list[float | int | None] = []
    for value in np.asarray(values, dtype=np.float64).ravel().tolist():
        if math.isnan(value):
            out.append(None)
        elif math.isinf(value):
            out.append(UNBOUNDED if value > 0 else -UNBOUNDED)
        else:
            short = float(f"{value:.{figures}g}")
            out.append(int(short) if short == int(short) and abs(short) < 1e9 else short)
    return out


def table(head: Iterable[str], rows: Iterable[Iterable[str]], *, caption: str, class_: str = "") -> str:
    """Return a table whose first column heads its rows.

    Args:
        head: Names of the columns, text.
        rows: Cells as markup, the first of each the head of its row.
        caption: What the table holds, text.
        class_: Further classes.
    """
    top = "".join(tag("th", safe(name), scope="col") for name in head)
    body = ""
    for row in rows:
        first, *others = row
        cells = "".join(tag("td", cell) for cell in others)
        body += tag("tr", tag("th", first, scope="row") + cells)
    inner = tag("caption", safe(caption)) + tag("thead", tag("tr", top)) + tag("tbody", body)
    return tag(
        "div", tag("table", inner), class_=f"table {class_}".strip(), tabindex="0", role="region", aria_label=caption
    )


def fold(title: str, content: str, *, beside: str = "", open_: bool = False, class_: str = "") -> str:
    """Return a part of the page that is folded away until it is asked for.

    Args:
        title: Its heading, text.
        content: What is folded, markup.
        beside: Said beside the heading, text.
        open_: Whether it is open at first.
        class_: Further classes.
    """
    head = tag("h3", safe(title)) + (tag("span", safe(beside), class_="unit") if beside else "")
    opened = "" if open_ else None
    return tag("details", tag("summary", head) + content, class_=f"fold {class_}".strip(), open=opened)


def bullets(items: Iterable[str]) -> str:
    """Return a list of sentences, text."""
    return tag("ul", "".join(tag("li", safe(item)) for item in items))


def shares(parts: Mapping[str, float]) -> list[tuple[str, float]]:
    """Return shares with the largest first, those below half a percent left out."""
    kept = [(name, value) for name, value in parts.items() if math.isfinite(value) and abs(value) >= 0.005]
    return sorted(kept, key=lambda item: -item[1])
