"""Figures of a report for papers and notebooks, by matplotlib: `report.plot.margin()` and the like.

Same report, same bytes: figures carry no date, and identifiers in SVG come from a fixed salt.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from gripmargin.base.errors import InputError
from gripmargin.checks import registry
from gripmargin.reports.series import used, worst_sample

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from gripmargin.base.arrays import FloatArray
    from gripmargin.results.report import Report
    from gripmargin.results.scene import Scene

ENDINGS = {".png": {"Software": None}, ".svg": {"Date": None, "Creator": None}}
INK, SOFT, BLUE, ORANGE, RED = "#1b2330", "#5b6471", "#1a7896", "#b5531a", "#b02f14"
CAUSES: dict[str, tuple[str, Any]] = {  # colour as on the page, and dashes, so that lines differ in black and white
    "gravity": ("#857e6b", "-"),
    "linear acceleration": ("#2a6cc0", "-"),
    "angular acceleration": ("#b8741a", "--"),
    "centripetal": ("#552878", ":"),
    "gyroscopic": (INK, "-."),
    "other": ("#6a8a3c", (0, (8, 3))),
    "air drag": ("#0f6a6a", (0, (1, 2))),
    "added air mass": ("#7f3216", (0, (9, 2, 1, 2, 1, 2))),
    "process": ("#4a3fc0", (0, (5, 1, 1, 1))),
}
MARGIN_TICKS = (np.inf, 10, 5, 3, 2, 1.5, 1.2, 1, 0.8, 0.6, 0.5, 0.4, 0.3)
STYLE: dict[Any, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 9,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.edgecolor": SOFT,
    "axes.titlelocation": "left",
    "axes.titlesize": 10,
    "axes.titleweight": "bold",
    "axes.grid": True,
    "grid.color": "#e2ded3",
    "grid.linewidth": 0.7,
    "legend.frameon": False,
    "legend.fontsize": 8,
    "svg.hashsalt": "gripmargin",
    "svg.fonttype": "path",
    "path.simplify": True,
    "savefig.dpi": 160,
}


class Plots:
    """The figures of one report; each method returns a matplotlib `Figure` and, given a path, writes it.

    Args of every method:
        path: File to write, ending in .png or .svg; None: none is written.

    Raises of every method:
        InputError: Another ending, or a report without what the figure needs.
    """

    def __init__(self, report: Report) -> None:
        self._report = report

    def margin(self, path: str | Path | None = None) -> Figure:
        """Grip margin over time with its error, target and findings; heights are those of the load."""
        return self._figure(self._margin, path, (7.2, 3.4))

    def load(self, path: str | Path | None = None) -> Figure:
        """Force and moment of the part on the pads, and both by cause, over time."""
        return self._figure(self._load, path, (9.0, 5.6))

    def use(self, path: str | Path | None = None) -> Figure:
        """What uses the pads up at their most used place, by cause, over time."""
        return self._figure(self._use, path, (7.2, 3.0))

    def face(self, path: str | Path | None = None, *, sample: int | None = None) -> Figure:
        """Use, normal traction and bond on the faces of the pads.

        Args:
            path: See the class.
            sample: Of the program; None: the one that the report is about.
        """
        return self._figure(lambda figure: self._face(figure, sample), path, (8.4, 0.0))

    def path(self, path: str | Path | None = None) -> Figure:
        """The path of the tool in space, by margin."""
        return self._figure(self._path, path, (6.0, 5.2))

    def _figure(self, draw: Callable[[Figure], None], path: str | Path | None, size: tuple[float, float]) -> Figure:
        from matplotlib import rc_context  # noqa: PLC0415 - plotting loads only when it is asked for
        from matplotlib.figure import Figure  # noqa: PLC0415

        target = None if path is None else Path(path)
        if target is not None and target.suffix not in ENDINGS:
            raise InputError(
                f"figure {target.name!r}", f"the ending {target.suffix!r}", "a name ending in .png or .svg"
            )
        with rc_context(STYLE):
            height = size[1] or 0.7 + 2.5 * min(len(self._scene.pads), 12)
            figure = Figure(figsize=(size[0], height), layout="constrained")
            draw(figure)
            if target is not None:
                figure.savefig(target, metadata=ENDINGS[target.suffix])
        return figure

    @property
    def _scene(self) -> Scene:
        if self._report.scene is None:
            raise InputError(
                f"report of job '{self._report.job}'", "no picture of the pads", "a report made by a check"
            )
        return self._report.scene

    @property
    def _hung(self) -> Any:
        scene = self._report.scene
        return ~np.isnan(self._report.samples.hold_margin) if scene is None else scene.airborne

    def _margin(self, figure: Figure) -> None:
        samples, axes = self._report.samples, figure.add_subplot()
        use, most = used(samples.hold_margin), used(samples.hold_margin_low)
        deepest = np.concatenate([most, used(samples.swing_margin), used(samples.stop_margin)])
        bottom = float(np.clip(1.06 * np.max(deepest[np.isfinite(deepest)], initial=1.0), 1.12, 4.0))
        use, shown = (
            np.minimum(use, bottom),
            np.minimum(most, bottom),
        )  # what has no bound is at the bottom, not left out
        axes.fill_between(samples.t, use, shown, color=INK, alpha=0.15, linewidth=0, label="errors of the rates")
        axes.plot(samples.t, use, color=INK, linewidth=1.4, label="hold margin")
        for key, name, colour, dashes in (
            ("swing_margin", "with the swing", BLUE, "--"),
            ("stop_margin", "at a stop", ORANGE, ":"),
        ):
            values = getattr(samples, key, None)
            if values is not None and not np.isnan(values).all():
                axes.plot(
                    samples.t, np.minimum(used(np.asarray(values)), bottom), color=colour, linestyle=dashes, label=name
                )
        curves = {check: getattr(samples, name) for check, name in registry.series().items()}
        targets: dict[float, list[str]] = {}
        for check in self._report.checks:
            if check.check == "hold" or not np.isnan(curves.get(check.check, np.nan)).all():
                targets.setdefault(float(check.target), []).append(check.check)
        for i, (target, names) in enumerate(targets.items()):
            said = f"target {target:g}" + (f" ({', '.join(names)})" if len(targets) > 1 else "")
            axes.axhline(1.0 / target, color=INK, linestyle=("--", "-.", ":")[i % 3], linewidth=1.0, label=said)
        axes.axhline(1.0, color=RED, linewidth=1.2, label="1: the limit")
        axes.axhspan(1.0, bottom, facecolor="none", edgecolor=RED, hatch="////", linewidth=0, alpha=0.35)
        for finding in self._report.findings:
            for start, end in finding.spans[:200]:
                axes.axvspan(
                    start, end, ymax=0.03, color=RED if finding.verdict == "fail" else "#8a5d00", linewidth=0.5
                )
        kept: list[tuple[float, str]] = []
        for m in MARGIN_TICKS:
            y = 0.0 if np.isinf(m) else 1.0 / m
            if kept and y - kept[-1][0] < 0.05 * bottom and m == 1:
                kept.pop()  # the limit is always named
            if y <= bottom and (not kept or y - kept[-1][0] >= 0.05 * bottom):
                kept.append((y, "∞" if np.isinf(m) else f"{m:g}"))
        axes.set_yticks([y for y, _ in kept], [text for _, text in kept])
        axes.set_ylim(bottom, 0.0)
        self._over_time(axes, "Grip margin", "factor by which the load could grow")
        axes.legend(ncols=4, loc="lower left", bbox_to_anchor=(0.0, 1.08))

    def _load(self, figure: Figure) -> None:
        samples, hung = self._report.samples, self._hung[:, None]
        grid = figure.subplots(2, 2, sharex=True)
        for axes, values, title, unit in (
            (grid[0, 0], samples.force, "Force of the part on the pads", "N, tool axes"),
            (grid[0, 1], 1e3 * samples.moment, "Moment about the tool frame's origin", "N mm, tool axes"),
        ):
            shown = np.where(hung, values, np.nan)
            for i, (name, colour, dashes) in enumerate((("x", BLUE, "--"), ("y", ORANGE, ":"), ("z", INK, "-"))):
                axes.plot(samples.t, shown[:, i], color=colour, linestyle=dashes, linewidth=1.3, label=name)
            self._over_time(axes, title, unit)
        parts = self._scene.loads_by_cause(samples, np.arange(samples.t.size))
        mass = self._scene.part.mass
        for axes, part, factor, title, unit in (
            (grid[1, 0], slice(0, 3), 1.0 / mass, "Acceleration by cause", "m/s², at the centre of mass"),
            (grid[1, 1], slice(3, 6), 1e3, "Moment by cause", "N mm"),
        ):
            for cause, load in parts.items():
                size = np.where(self._hung, factor * np.linalg.norm(load[:, part], axis=1), np.nan)
                if np.nanmax(np.append(size, 0.0)) > 0:
                    colour, dashes = CAUSES[cause]
                    axes.plot(samples.t, size, color=colour, linestyle=dashes, linewidth=1.3, label=cause)
            self._over_time(axes, title, unit)
        for axes in grid.flat:
            if axes.get_legend_handles_labels()[0]:
                columns = 3 if len(axes.get_lines()) <= 3 else 2
                axes.legend(ncols=columns, loc="upper left", bbox_to_anchor=(0.0, -0.18), columnspacing=1.2)

    def _use(self, figure: Figure) -> None:
        samples, axes = self._report.samples, figure.add_subplot()
        shares = self._scene.use_by_cause(self._scene.loads_by_cause(samples, np.arange(samples.t.size)))
        up, down = np.zeros(samples.t.size), np.zeros(samples.t.size)
        hatches = {
            "gravity": "",
            "linear acceleration": "",
            "angular acceleration": "//",
            "centripetal": "..",
            "gyroscopic": "xx",
        }
        for cause, share in shares.items():
            if np.abs(share[self._hung]).max(initial=0.0) < 5e-4:
                continue
            style: dict[str, Any] = {
                "facecolor": CAUSES[cause][0],
                "hatch": hatches.get(cause, "--"),
                "edgecolor": "white",
            }
            named = cause
            for base, part in ((up, np.maximum(share, 0.0)), (down, np.minimum(share, 0.0))):
                where = self._hung & (np.abs(part) > 0)
                if where.any():
                    axes.fill_between(
                        samples.t,
                        100 * base,
                        100 * (base + part),
                        where=self._hung,
                        label=named,
                        linewidth=0.2,
                        **style,
                    )
                    named = "_"
                np.add(base, part, out=base)
        if shares:
            total = np.where(self._hung, 100 * np.sum(list(shares.values()), axis=0), np.nan)
            axes.plot(samples.t, total, color=INK, linewidth=1.3, label="together")
        self._over_time(axes, "What uses the pads up", "% of what they hold")
        if axes.get_legend_handles_labels()[0]:
            axes.legend(ncols=6, loc="lower left", bbox_to_anchor=(0.0, 1.1))

    def _face(self, figure: Figure, sample: int | None) -> None:
        from matplotlib.collections import PolyCollection  # noqa: PLC0415

        samples, scene = self._report.samples, self._scene
        at = worst_sample(self._report) if sample is None else sample
        if at is None or not 0 <= at < samples.t.size:
            raise InputError("figure of the pads", f"sample {at}", f"a sample from 0 to {samples.t.size - 1}")
        load = np.concatenate([samples.force[at], samples.moment[at]])
        edge, pads = scene.edge_use(load), scene.pads[:12]
        grid = figure.subplots(len(pads), 3, squeeze=False)
        for i, (row, pad) in enumerate(zip(grid, pads, strict=True)):
            corners = self._in_pad(pad.patch.corners, i).reshape(-1, 3, 2)
            centres = pad.patch.points.reshape(-1, 3, 3).mean(axis=1)
            counted = pad.counted.reshape(-1, 3)[:, 0]
            traction = scene.tractions(pad, centres, load)
            bond = pad.bond.reshape(-1, 3).mean(axis=1)
            with np.errstate(divide="ignore", invalid="ignore"):
                pull = traction[2] / (pad.pull_off_stress * bond)
            for axes, values, title, colours, low in (
                (row[0], np.where(counted, pad.utilisation(traction, bond), np.nan), "used", "Blues", 0.0),
                (row[1], np.where(counted, pull, np.nan), "pulled, pressed", "PuOr_r", -1.0),
                (row[2], bond, "bond", "Greens", 0.0),
            ):
                cells = PolyCollection(list(corners), cmap=colours, edgecolors="face", linewidths=0.3)
                cells.set_array(100 * np.ma.masked_invalid(values))
                cells.set_clim(100 * low, 100)
                axes.add_collection(cells)
                outline = self._in_pad(pad.patch.edge, i)
                axes.fill(*outline.T, fill=False, edgecolor=INK, linewidth=1.0)
                axes.set_aspect("equal")
                axes.autoscale_view()
                axes.grid(visible=False)
                axes.set_title(f"{_plain(pad.patch.pad.name)}: {title}")
                figure.colorbar(cells, ax=axes, shrink=0.8).set_label("%")
            for axes, here, mark, point in (
                (row[0], edge is not None and edge.pad == i, "o", None if edge is None else edge.point),
                (row[1], edge is not None and edge.peel_pad == i, "^", None if edge is None else edge.peel_point),
            ):
                if here and point is not None:
                    x, y = self._in_pad(point[None], i)[0]
                    axes.plot(x, y, mark, color=RED, markeredgecolor="white", markersize=8)
        figure.suptitle(
            f"{samples.t[at]:.3f} s, pad axes, mm; o most used, ▲ would peel from here", fontsize=9, x=0.01, ha="left"
        )

    def _in_pad(self, points: FloatArray, i: int) -> FloatArray:
        pose = self._scene.pads[i].patch.pad.pose_in_tool
        return np.asarray(1e3 * ((points - pose[:3, 3]) @ pose[:3, :3])[:, :2])

    def _path(self, figure: Figure) -> None:
        from mpl_toolkits.mplot3d.art3d import Line3DCollection  # noqa: PLC0415

        samples = self._report.samples
        axes: Any = figure.add_subplot(projection="3d")  # of a class that no stub names here
        points = 1e3 * samples.position
        step = max(1, samples.t.size // 2000)
        most = used(samples.hold_margin_low)
        axes.plot(*points[::step].T, color=SOFT, linewidth=0.7, linestyle=":")
        carried = np.flatnonzero(~np.isnan(most))
        starts = [carried[i : i + step] for i in range(0, carried.size, step)]
        if len(starts) > 1:
            use = np.array([np.minimum(most[part], 10.0).max() for part in starts])
            ends = points[[part[0] for part in starts]]
            together = np.diff([part[0] for part in starts]) <= 2 * step
            segments = np.stack([ends[:-1], ends[1:]], axis=1)[together]
            worst = np.maximum(use[:-1], use[1:])[together]
            lines = Line3DCollection(list(segments), cmap="viridis_r", linewidths=1.5 + 4 * np.clip(worst, 0, 1))
            lines.set_array(np.clip(worst, 0.0, 1.0))
            lines.set_clim(0.0, 1.0)
            axes.add_collection3d(lines)
            bar = figure.colorbar(lines, ax=axes, shrink=0.6, pad=0.1)
            bar.set_ticks([0.0, 0.1, 0.2, 1 / 3, 0.5, 2 / 3, 1.0], labels=["∞", "10", "5", "3", "2", "1.5", "1"])
            bar.set_label("least margin; the line is thicker where it is small")
        at = worst_sample(self._report)
        if at is not None:
            axes.scatter(*points[at : at + 1].T, color=RED, marker="o", s=36, depthshade=False)
        axes.set(xlabel="x [mm]", ylabel="y [mm]", zlabel="z [mm]")
        axes.set_title("Path of the tool frame's origin")
        low, high = points.min(axis=0), points.max(axis=0)
        reach = max(float((high - low).max()), 1.0)
        middle, half = (low + high) / 2, np.maximum(high - low, 0.4 * reach) / 2  # a flat path keeps room for its ticks
        axes.set(**{f"{name}lim": (m - h, m + h) for name, m, h in zip("xyz", middle, half, strict=True)})
        axes.set_box_aspect(half / half.max(), zoom=0.92)
        axes.locator_params(nbins=4)

    def _over_time(self, axes: Axes, title: str, unit: str) -> None:
        t = self._report.samples.t
        axes.set_title(title)
        axes.set_ylabel(unit)
        axes.set_xlabel("s")
        if t[-1] > t[0]:
            axes.set_xlim(float(t[0]), float(t[-1]))


def _plain(text: str) -> str:
    """Text from a job: no formulas, no control characters."""
    return "".join(c if c.isprintable() else " " for c in text).replace("$", r"\$")
