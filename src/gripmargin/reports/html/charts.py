"""Charts over time as inline SVG that stretches with the page.

The plot is as wide as its column, whatever that is: lines are drawn in a stretched box with strokes that keep their
width, and words stand beside them at shares of the width. Lines differ by dashes and weight as well as by colour.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.reports.html.scales import Scale, decimals, round_step, share_of
from gripmargin.reports.html.text import number, safe, tag
from gripmargin.reports.series import IntArray, thinned

COLUMNS = 500  # of the drawing, each with its first, last, least and largest sample
WIDE, HIGH = 1000.0, 1000.0  # of the stretched box
NEAR = 0.13  # share of the height at which words of two lines are kept apart
MOST_STRETCHES = 400  # of a ribbon; of more the narrowest are left out
NARROWEST = 0.25  # % of the width
SCREEN_PX = 1030.0  # width of a chart on a wide screen
ROOMY = ((640.0, "w2"), (315.0, "w1"))  # words left out where a chart is narrower: on paper, on a phone
LABEL_DROP = 0.02  # share of the height by which words at a curve stand below its lowest place
WIDE_PX, HIGH_PX = 650.0, 200.0  # of a chart with such words, on paper
LETTER, LINE, BESIDE, DISC = 6.6, 10.0, 9.0, 9.0  # of words: a letter, their height, off the curve; of a mark's disc
NARROW_PX = 310.0  # of a chart on a phone
LIFTS = (-16, -34, -52, 16, 34, -70, 52, -88, -106)  # by which numbers of marks stand below them
MOVES = sorted(range(-52, 53, 4), key=abs)  # by which words stand lower than they would

Box = tuple[float, float, float, float]


@dataclass(frozen=True, eq=False, kw_only=True)
class Line:
    """One curve.

    Attributes:
        name: In the legend.
        t: Times [s], shape (n,).
        y: In the unit of the chart, shape (n,); not finite breaks the line.
        style: Class of the line: s1 to s4, k1 to k9, c-, area-.
        lower: Where a band ends below, shape (n,); the line is then an area.
        check: Whose curve it is, where a button shows and hides it with its words.
    """

    name: str
    t: FloatArray
    y: FloatArray
    style: str
    lower: FloatArray | None = None
    check: str | None = None


@dataclass(frozen=True, kw_only=True)
class Level:
    """A horizontal line with its words.

    Attributes:
        y: In the unit of the chart.
        text: Said at the line.
        style: Class: target, limit, zero.
    """

    y: float
    text: str
    style: str = "target"


@dataclass(frozen=True, kw_only=True)
class Label:
    """Words at a place of a curve, which say which curve it is.

    Attributes:
        t: Time [s].
        y: In the unit of the chart.
        text: Said beside it.
        check: Whose curve it is.
    """

    t: float
    y: float
    text: str
    check: str | None = None


@dataclass(frozen=True, kw_only=True)
class Mark:
    """A numbered place on the time axis.

    Attributes:
        t: Time [s].
        y: In the unit of the chart.
        text: The number or sign in it.
        title: What it is.
    """

    t: float
    y: float
    text: str
    title: str


@dataclass(frozen=True, eq=False, kw_only=True)
class TimeChart:
    """A chart over time.

    Attributes:
        key: Identifier, unique in the page.
        title: Heading.
        unit: Of the values.
        about: What it shows, for whoever cannot see it.
        span: First and last time [s].
        scale: Of the values.
        lines: Curves, the first below the others.
        levels: Horizontal lines.
        bands: Stretches of time in the background: from, to, class.
        marks: Numbered places.
        labels: Words at curves.
        tall: Class of the height: low, middle, tall.
        note: Said below.
        danger: Value from which on the chart is hatched to its bottom.
        cursor: Where the time cursor is at first [s]; None: the chart has none.
        columns: Of the drawing.
        heading: Element of the heading.
        legend: Further entries of the legend: name, style.
    """

    key: str
    title: str
    unit: str
    about: str
    span: tuple[float, float]
    scale: Scale
    lines: Sequence[Line]
    levels: Sequence[Level] = ()
    bands: Sequence[tuple[float, float, str]] = ()
    marks: Sequence[Mark] = ()
    labels: Sequence[Label] = ()
    tall: str = "middle"
    note: str = ""
    danger: float | None = None
    cursor: float | None = None
    columns: int = COLUMNS
    heading: str = "h4"
    legend: Sequence[tuple[str, str]] = field(default=())

    def markup(self) -> str:
        """Return the figure."""
        drawn = [line for line in self.lines if np.isfinite(line.y).any()]
        entries = [*((line.name, line.style) for line in drawn), *self.legend]
        checks = {line.name: line.check for line in drawn if line.check}
        words = "".join(
            tag("li", _shown(_key(style) + safe(name), checks.get(name)), class_=f"key {style}")
            for name, style in entries
            if name
        )
        head = tag(self.heading, safe(self.title) + (tag("span", safe(self.unit), class_="unit") if self.unit else ""))
        body = self._plot(drawn) if drawn else tag("p", "Nothing to draw: no finite value.", class_="empty")
        return tag(
            "figure",
            tag("figcaption", head + (tag("ul", words, class_="legend") if len(entries) > 1 or self.legend else ""))
            + body
            + (tag("p", safe(self.note), class_="note") if self.note else ""),
            class_="chart",
        )

    def _plot(self, drawn: Sequence[Line]) -> str:
        curves = "".join(self._curve(line) for line in drawn)
        grid = "".join(_rule(self.scale.share(y), "grid") for y, _ in self.scale.ticks)
        levels = self._levels()
        cursor = ""
        if self.cursor is not None:
            at = f"{100 * self._x(self.cursor):.3f}%"
            inside = self.span[0] <= self.cursor <= self.span[1]
            cursor = tag(
                "line", "", class_="cursor", x1=at, x2=at, y1="0", y2="100%", visibility=None if inside else "hidden"
            )
        plot = tag(
            "svg",
            tag("title", safe(self.title), id=f"{self.key}-t")
            + tag("desc", safe(self.about), id=f"{self.key}-d")
            + "".join(self._band(*band) for band in self.bands)
            + self._danger()
            + grid
            + f'<svg viewBox="0 0 {WIDE:g} {HIGH:g}" preserveAspectRatio="none" width="100%" height="100%">'
            + f"{curves}</svg>"
            + levels
            + cursor
            + self._labels()
            + self._marks(),
            class_="plot",
            role="img",
            aria_labelledby=f"{self.key}-t {self.key}-d",
        )
        labels = "".join(
            tag("text", safe(text), x="100%", y=f"{100 * float(self.scale.share(y)):.2f}%", dx="-6", dy="4")
            for y, text in self.scale.ticks
        )
        y_axis = tag("svg", labels, class_="y-axis", aria_hidden="true")
        return tag("div", y_axis + plot + time_axis(self.span), class_=f"frame {self.tall}")

    def _x(self, t: float) -> float:
        return share_of(self.span, t)

    def _curve(self, line: Line) -> str:
        start, width = self.span[0], max(self.span[1] - self.span[0], 1e-12)

        def points(kept: IntArray, y: FloatArray) -> str:
            x = WIDE * (line.t[kept] - start) / width
            down = HIGH * self.scale.share(y[kept])
            return "L".join(f"{a:.5g} {b:.4g}" for a, b in zip(x.tolist(), down.tolist(), strict=True))

        path = ""
        if line.lower is not None:
            for kept in _area(line.t, line.y, line.lower, self.columns):
                path += f"M{points(kept, line.y)}L{points(kept[::-1], line.lower)}Z"
        else:
            for kept in thinned(line.t, line.y, self.columns):
                first = points(kept[:1], line.y)
                path += f"M{points(kept, line.y)}" if kept.size > 1 else f"M{first}h2"
        return tag("path", "", class_=line.style, d=path, data_check=line.check)

    def _band(self, start: float, end: float, style: str) -> str:
        a, b = self._x(start), self._x(end)
        top, high = ("94%", "6%") if style.startswith("span") else ("0", "100%")
        return tag(
            "rect", "", class_=style, x=f"{100 * a:.3f}%", width=f"{max(100 * (b - a), 0.15):.3f}%", y=top, height=high
        )

    def _danger(self) -> str:
        if self.danger is None:
            return ""
        top = 100 * float(self.scale.share(self.danger))
        return tag("rect", "", class_="danger", x="0", width="100%", y=f"{top:.2f}%", height=f"{100 - top:.2f}%")

    def _levels(self) -> str:
        """The horizontal lines; words of lines close to each other stand at the other end."""
        out, last, left = "", -1.0, False
        for level in sorted(self.levels, key=lambda level: -level.y if self.scale.high > self.scale.low else level.y):
            share = float(self.scale.share(level.y))
            if level.text:
                left, last = share - last < NEAR and not left, share
            end = {"x": "0", "dx": "5"} if left else {"x": "100%", "dx": "-5"}
            dy = "13" if share < 0.12 else "-5"
            style = f"level-text {level.style}{' left' if left else ''}"
            out += _rule(share, f"level {level.style}") + tag(
                "text", safe(level.text), class_=style, y=f"{100 * share:.2f}%", dy=dy, **end
            )
        return out

    def _labels(self) -> str:
        """Words beside curves, towards the middle of the chart, moved where they would meet marks or other words."""
        out, taken = "", self._taken()
        for label in sorted(self.labels, key=lambda label: float(self.scale.share(label.y))):
            x, y = self._x(label.t), float(self.scale.share(label.y))
            long = LETTER * len(label.text) + BESIDE
            first = min(HIGH_PX * (y + LABEL_DROP), 0.97 * HIGH_PX)
            places = [
                (WIDE_PX * x + (-long if left else BESIDE), first + move, left)
                for move in MOVES
                for left in ((x >= 0.5), (x < 0.5))
                if (x > long / WIDE_PX if left else x < 1.0 - long / WIDE_PX or x < 0.5)
                and LINE <= first + move <= 0.97 * HIGH_PX
            ]
            boxes = [(at, at + long - BESIDE, down - LINE, down + 2.0) for at, down, _ in places]
            k = int(np.argmin([sum(_meet(box, other) for other in taken) for box in boxes]))
            taken.append(boxes[k])
            _, down, left = places[k]
            dot = tag("circle", "", cx=f"{100 * x:.3f}%", cy=f"{100 * y:.2f}%", r="2.6", class_="least-dot")
            words = tag(
                "text",
                safe(label.text),
                x=f"{100 * x:.3f}%",
                y=f"{100 * down / HIGH_PX:.2f}%",
                dx=f"{-BESIDE:g}" if left else f"{BESIDE:g}",
                class_="curve-label left" if left else "curve-label",
            )
            out += tag("g", dot + words, data_check=label.check)
        return out

    def _taken(self) -> list[Box]:
        """Where words would meet marks, words of levels, or the bar along the lower edge."""
        boxes = []
        for _, x, y, lift in self._placed():
            across, down = WIDE_PX * x, HIGH_PX * y + lift
            boxes.append((across - DISC, across + DISC, down - DISC, down + DISC))
        for level in self.levels:
            down = HIGH_PX * float(self.scale.share(level.y)) - 5.0
            boxes.append((WIDE_PX - LETTER * len(level.text) - 5.0, WIDE_PX, down - LINE, down + 2.0))
        for start, end, style in self.bands:
            if style.startswith("span"):
                boxes.append((WIDE_PX * self._x(start), WIDE_PX * self._x(end), 0.94 * HIGH_PX, HIGH_PX))
        return boxes

    def _placed(self) -> list[tuple[Mark, float, float, int]]:
        """The marks with their places as shares of the chart, and by how many pixels their numbers stand below."""
        out = list[tuple[Mark, float, float, int]]()
        marks = sorted(self.marks, key=lambda m: m.t)
        dots = [(min(max(self._x(m.t), 0.008), 0.992), float(self.scale.share(m.y))) for m in marks]
        for mark, (x, y) in zip(marks, dots, strict=True):
            keep = [(a, HIGH_PX * b + lift, 2.0 * DISC) for _, a, b, lift in out]
            keep += [(a, HIGH_PX * b, DISC + 4.0) for a, b in dots if (a, b) != (x, y)]
            near = [(down, room) for a, down, room in keep if abs(x - a) * NARROW_PX < room]
            lifts = [lift for lift in LIFTS if DISC < HIGH_PX * y + lift < HIGH_PX - DISC] or LIFTS[:1]
            free = (lift for lift in lifts if all(abs(HIGH_PX * y + lift - down) >= room for down, room in near))
            out.append((mark, x, y, next(free, lifts[0])))
        return out

    def _marks(self) -> str:
        """All dots below all numbers."""
        dots, numbers = "", ""
        for mark, x, y, lift in self._placed():
            left, down = f"{100 * x:.3f}%", f"{100 * y:.2f}%"
            stem = {"width": "1", "height": abs(lift), "transform": f"translate(-.5 {min(lift, 0)})"}
            dots += tag("rect", "", x=left, y=down, class_="mark-stem", **stem)
            dots += tag("circle", "", cx=left, cy=down, r="3.5", class_="mark-dot")
            numbers += tag(
                "g",
                tag("title", safe(mark.title))
                + tag("circle", "", cx=left, cy=down, r="8", class_="mark-disc")
                + tag("text", safe(mark.text), x=left, y=down, dy="4", class_="mark-text"),
                class_="mark",
                transform=f"translate(0 {lift})",
            )
        return dots + numbers


def _meet(one: Box, other: Box) -> bool:
    """Whether two boxes (left, right, top, bottom) overlap."""
    return one[0] < other[1] and other[0] < one[1] and one[2] < other[3] and other[2] < one[3]


def _area(t: FloatArray, upper: FloatArray, lower: FloatArray, columns: int) -> list[IntArray]:
    """Samples that an area between two curves needs, without the peaks of either lost."""
    both = np.isfinite(upper) & np.isfinite(lower)
    pieces = []
    for stretch in np.split(np.arange(t.size), np.flatnonzero(np.diff(both.astype(np.int8))) + 1):
        if both[stretch[0]]:
            kept = [k for y in (upper, lower) for k in thinned(t[stretch], y[stretch], columns)]
            pieces.append(stretch[np.unique(np.concatenate(kept))])
    return pieces


def time_axis(span: tuple[float, float]) -> str:
    """Return ticks and labels of the time axis."""
    ticks: list[tuple[float, str]]
    if span[1] > span[0]:
        step = round_step((span[1] - span[0]) / 10)
        digits = decimals(step)
        first = math.ceil(span[0] / step - 1e-9)
        ticks = [(i * step, number(i * step, digits)) for i in range(first, math.floor(span[1] / step + 1e-9) + 1)]
    else:
        ticks = [(span[0], number(span[0], 3))]
    if ticks:
        ticks[-1] = (ticks[-1][0], f"{ticks[-1][1]} s")
    inner = ""
    for i, (t, text) in enumerate(ticks):
        x = share_of(span, t)
        at = f"{100 * x:.3f}%"
        extra = " extra" if (len(ticks) - 1 - i) % 2 else ""
        place = "start" if x < 0.02 else "end" if x > 0.95 else "middle"
        inner += tag("line", "", x1=at, x2=at, y1="0", y2="5") + tag(
            "text", safe(text), x=at, y="17", class_=f"{place}{extra}"
        )
    return tag("svg", inner, class_="x-axis", aria_hidden="true")


def _rule(share: FloatArray | float, style: str) -> str:
    at = f"{100 * float(share):.2f}%"
    return tag("line", "", class_=style, x1="0", x2="100%", y1=at, y2=at)


def _shown(words: str, check: str | None) -> str:
    """An entry of the legend, a button where it shows and hides the curve of a check."""
    return words if check is None else tag("button", words, type="button", aria_pressed="true", data_toggle=check)


def _key(style: str) -> str:
    box = '<rect x="0" y="3" width="22" height="8"' if style.startswith(("area", "band", "fill")) else None
    inner = f'{box} class="{style}"/>' if box else f'<path d="M0 7H22" class="{style}"/>'
    if style == "dot":
        inner = '<circle cx="16" cy="7" r="2.6" class="least-dot"/>'
    return f'<svg width="22" height="14" aria-hidden="true">{inner}</svg>'


def ribbon(
    key: str,
    name: str,
    span: tuple[float, float],
    stretches: Sequence[tuple[float, float, str, str]],
    describe: Callable[[str], str],
) -> str:
    """Return a row of named stretches of time.

    Args:
        key: Identifier, unique in the page.
        name: What the stretches are.
        span: First and last time [s].
        stretches: From, to, label, class.
        describe: Sentence for a label.
    """
    inner = ""
    narrow = NARROWEST if len(stretches) > MOST_STRETCHES else 0.0
    for start, end, label, style in stretches:
        a, b = share_of(span, start), share_of(span, end)
        wide = 100 * (b - a)
        if wide < narrow:
            continue
        needed = 100 * (6.2 * len(label) + 6.0) / max(wide, 1e-9)  # pixels that the chart has to be wide for its words
        roomy = next((name for least, name in ROOMY if needed > least), None)
        text = tag("text", safe(label), x="5", y="14", class_=roomy) if needed < SCREEN_PX else ""
        said = tag("title", safe(f"{describe(label)} {start:.3f} to {end:.3f} s"))
        box = '<rect width="100%" height="100%"/>'
        inner += (
            f'<svg x="{100 * a:.3f}%" width="{max(wide, 0.1):.3f}%" height="20" class="{style}">{said}{box}{text}</svg>'
        )
    words = tag("span", safe(name), class_="ribbon-name")
    return tag(
        "div", words + tag("svg", inner, class_="plot", role="img", aria_label=name), class_="frame ribbon", id=key
    )


def runs(labels: Sequence[str]) -> list[tuple[int, int, str]]:
    """Return runs of equal labels: first sample, last sample, label."""
    edges = [0, *(i for i, (a, b) in enumerate(pairwise(labels), start=1) if a != b), len(labels)]
    return [(a, b - 1, labels[a]) for a, b in pairwise(edges) if b > a]
