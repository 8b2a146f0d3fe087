"""A figure of the plot library drawn on paper by Matplotlib: the traces and shapes that this product's figures use."""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Mapping, Sequence
from html import unescape
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as PaperFigure
    from plotly.graph_objects import Figure

WIDTH_IN, PX_PER_IN = 7.0, 108.0  # the text width of an A4 page; figures are laid out for about 760 px
POINTS_PER_PX = 0.52
MARKERS = {
    "circle": "o", "square": "s", "diamond": "D", "cross": "P", "x": "X", "triangle-up": "^", "triangle-down": "v",
    "star": "*", "line-ns": "|", "line-ew": "_", "pentagon": "p", "hexagon": "h", "triangle-left": "<",
    "triangle-right": ">", "cross-thin": "+", "x-thin": "x", "hourglass": "d", "bowtie": "d",
}  # fmt: skip
DASHES = {"solid": "-", "dash": "--", "dot": ":", "dashdot": "-.", "longdash": (0, (8, 3))}
HATCHES = {"": "", "/": "////", "\\": "\\\\\\\\", "x": "xxxx", ".": "...."}
# Where words stand beside their point, as the plot library names it → offset in points, alignment.
ABOVE, UP = {"top": 4, "middle": 0, "bottom": -4}, {"top": "bottom", "middle": "center", "bottom": "top"}
ASIDE, ACROSS = {"left": -5, "center": 0, "right": 5}, {"left": "right", "center": "center", "right": "left"}
ALIGN = {"left": "left", "right": "right", "center": "center", "auto": "center"}
FONT = "DejaVu Sans"


def on_paper(figure: Figure, most_in: float = 0.0) -> PaperFigure:
    """The figure as Matplotlib's. most_in: its height at most, where that is given.

    Raises ValueError for a trace that is not known here.
    """
    from matplotlib.figure import Figure as Paper

    told = figure.to_plotly_json()
    layout: Mapping[str, Any] = told["layout"]
    height_in = max(float(layout.get("height", 400)), 140.0) / PX_PER_IN
    paper = Paper(figsize=(WIDTH_IN, min(height_in, most_in) if most_in else height_in), layout=None)
    axes = {name: _axes(paper, layout, name) for name in _pairs(told)}
    for trace in told["data"]:
        _trace(axes[str(trace.get("xaxis", "x"))], trace)
    for name, drawn in axes.items():
        _scales(drawn, layout, name)
    for shape in layout.get("shapes", ()):
        _shape(axes, shape)
    for note in layout.get("annotations", ()):
        _note(paper, axes, note)
    return paper


def svg(figure: Figure, most_in: float = 0.0) -> str:
    """The figure as SVG, the same every time; letters are paths, so that no font is needed."""
    import matplotlib as mpl

    out = io.StringIO()
    with mpl.rc_context({"svg.hashsalt": "stillair", "svg.fonttype": "path", "font.family": FONT, "font.size": 8}):
        kept = {"Date": None, "Creator": None}
        on_paper(figure, most_in).savefig(out, format="svg", metadata=kept, bbox_inches="tight")
    text = out.getvalue()
    return text[text.index("<svg") :]


def png(figure: Figure, dpi: int = 200, most_in: float = 0.0) -> bytes:
    """The figure as PNG for a PDF page, the same every time."""
    import matplotlib as mpl

    out = io.BytesIO()
    with mpl.rc_context({"font.family": FONT, "font.size": 8}):
        on_paper(figure, most_in).savefig(out, format="png", dpi=dpi, metadata={"Software": None}, bbox_inches="tight")
    return out.getvalue()


def numbers(values: Any) -> list[Any]:
    """A trace's values: a list, an array, or the library's packed form."""
    if isinstance(values, Mapping):
        return list(np.frombuffer(base64.b64decode(values["bdata"]), dtype=np.dtype(values["dtype"])))
    return [] if values is None else list(values)


def _pairs(told: Mapping[str, Any]) -> list[str]:
    return sorted({str(trace.get("xaxis", "x")) for trace in told["data"]} or {"x"})


def _key(name: str, letter: str) -> str:
    return f"{letter}axis{name[1:]}"


def _axes(paper: PaperFigure, layout: Mapping[str, Any], name: str) -> Axes:
    x0, x1 = layout.get(_key(name, "x"), {}).get("domain", (0.0, 1.0))
    y0, y1 = layout.get(_key(name, "y"), {}).get("domain", (0.0, 1.0))
    left, bottom, width, height = 0.09, 0.12, 0.89, 0.84
    made = paper.add_axes((left + width * x0, bottom + height * y0, width * (x1 - x0), height * (y1 - y0)))
    made.set_axisbelow(True)
    made.grid(True, color="#d9d9d9", linewidth=0.5)
    for side in ("top", "right"):
        made.spines[side].set_visible(False)
    return made


def _trace(axes: Axes, trace: Mapping[str, Any]) -> None:
    kind = trace.get("type", "scatter")
    if kind == "scatter":
        _scatter(axes, trace)
    elif kind == "bar":
        _bars(axes, trace)
    elif kind == "contour":
        _contour(axes, trace)
    else:
        raise ValueError(f"a trace of the type {kind} cannot be drawn on paper")


def _scatter(axes: Axes, trace: Mapping[str, Any]) -> None:
    x, y = numbers(trace.get("x")), numbers(trace.get("y"))
    mode = str(trace.get("mode", "lines"))
    line, marker = trace.get("line", {}), trace.get("marker", {})
    if trace.get("fill") == "toself":
        axes.fill(x, y, color=_colour(trace.get("fillcolor")), alpha=_alpha(trace.get("fillcolor")), linewidth=0)
    if "lines" in mode and line.get("width", 2):
        dash = DASHES.get(str(line.get("dash", "solid")), "-")
        axes.plot(_held(x), _held(y), color=_colour(line.get("color")), linestyle=dash,
                  linewidth=line.get("width", 2) * POINTS_PER_PX)  # fmt: skip
    _bars_of_error(axes, trace, x, y)
    if "markers" in mode:
        _markers(axes, x, y, marker)
    if "text" in mode:
        beside = _each(trace.get("textposition", "top center"), len(x))
        for at_x, at_y, text, place in zip(x, y, _each(trace.get("text", ""), len(x)), beside, strict=True):
            up, _, across = str(place).partition(" ")
            axes.annotate(_plain(text), (at_x, at_y), textcoords="offset points", xytext=(ASIDE[across], ABOVE[up]),
                          ha=ACROSS[across], va=UP[up])  # fmt: skip


def _markers(axes: Axes, x: list[Any], y: list[Any], marker: Mapping[str, Any]) -> None:
    outline = marker.get("line", {})
    styles = zip(
        _each(marker.get("color", "#111111"), len(x)), _each(marker.get("symbol", "circle"), len(x)),
        _each(marker.get("size", 8), len(x)), strict=True,
    )  # fmt: skip
    alike: dict[Any, list[int]] = {}
    for index, style in enumerate(styles):
        alike.setdefault(style, []).append(index)
    edge, width = _colour(_first(outline.get("color", "#111111"))), _first(outline.get("width", 0)) * POINTS_PER_PX
    for (colour, symbol, size), those in alike.items():
        name = str(symbol)
        hollow = name.endswith("-open")
        axes.plot([x[i] for i in those], [y[i] for i in those], linestyle="none",
                  marker=MARKERS.get(name.removesuffix("-open"), "o"), markersize=float(size) * POINTS_PER_PX,
                  markerfacecolor="white" if hollow else _colour(colour),
                  markeredgecolor=_colour(colour) if hollow else edge,
                  markeredgewidth=max(width, 0.9 if hollow else 0.0), clip_on=False, zorder=3)  # fmt: skip


def _bars_of_error(axes: Axes, trace: Mapping[str, Any], x: list[Any], y: list[Any]) -> None:
    spans: dict[str, Any] = {}
    for letter in ("x", "y"):
        error = trace.get(f"error_{letter}", {})
        if not error or error.get("visible") is False or error.get("array") is None:
            continue
        up = numbers(error["array"])
        down = numbers(error.get("arrayminus")) if error.get("symmetric") is False else up
        spans[f"{letter}err"] = [down or up, up]
        spans["ecolor"] = _colour(error.get("color", "#111111"))
        spans["elinewidth"] = error.get("thickness", 2) * POINTS_PER_PX
        spans["capsize"] = error.get("width", 4) * POINTS_PER_PX / 1.6
    if spans:
        axes.errorbar(x, y, fmt="none", **spans)


def _bars(axes: Axes, trace: Mapping[str, Any]) -> None:
    x, y, marker = numbers(trace.get("x")), numbers(trace.get("y")), trace.get("marker", {})
    flat = trace.get("orientation") == "h"
    length, place = (x, y) if flat else (y, x)
    count = len(place)
    base = _each(trace.get("base", 0.0), count)
    width = [float(one) for one in _each(_or(trace.get("width"), 0.7), count)]
    draw = axes.barh if flat else axes.bar
    drawn = draw(place, length, width, base, edgecolor="#111111", linewidth=0.8)
    hatches = _each(marker.get("pattern", {}).get("shape", ""), count)
    for one, colour, hatch in zip(drawn, _each(marker.get("color", "#8c8c8c"), count), hatches, strict=True):
        one.set_facecolor(_colour(colour))
        one.set_hatch(HATCHES.get(str(hatch), ""))


def _contour(axes: Axes, trace: Mapping[str, Any]) -> None:
    z = trace["z"]
    rows = np.asarray(numbers(z), dtype=float)
    if isinstance(z, Mapping) and "shape" in z:
        rows = rows.reshape([int(one) for one in str(z["shape"]).split(",")])
    drawn = axes.contour(numbers(trace.get("x")), numbers(trace.get("y")), rows, colors="#111111", linewidths=0.7)
    axes.clabel(drawn, fontsize=7)


def _scales(axes: Axes, layout: Mapping[str, Any], name: str) -> None:
    for letter in ("x", "y"):
        told = layout.get(_key(name, letter), {})
        scale = axes.xaxis if letter == "x" else axes.yaxis
        set_limits = axes.set_xlim if letter == "x" else axes.set_ylim
        title = told.get("title", {})
        scale.set_label_text(_plain(title.get("text", "") if isinstance(title, Mapping) else title))
        if told.get("tickvals") is not None:
            places = numbers(told["tickvals"])
            scale.set_ticks(places, [_plain(text) for text in told.get("ticktext") or places])
        if told.get("range") is not None:
            set_limits(*numbers(told["range"]))
        elif told.get("autorange") == "reversed":
            low, high = axes.get_xlim() if letter == "x" else axes.get_ylim()
            set_limits(high, low)
        elif told.get("rangemode") == "tozero":
            low, high = axes.get_xlim() if letter == "x" else axes.get_ylim()
            set_limits(min(low, 0.0), max(high, 0.0))
        if told.get("visible") is False or told.get("showticklabels") is False:
            scale.set_tick_params(labelleft=False, labelbottom=False)


def _shape(axes: Mapping[str, Axes], shape: Mapping[str, Any]) -> None:
    drawn, across, up = _place(axes, shape.get("xref", "x"), shape.get("yref", "y"))
    transform = _blended(drawn, across, up)
    x0, x1, y0, y1 = (shape[name] for name in ("x0", "x1", "y0", "y1"))
    line = shape.get("line", {})
    width = line.get("width", 2) * POINTS_PER_PX
    if shape.get("type") == "line":
        drawn.plot([x0, x1], [y0, y1], transform=transform, color=_colour(line.get("color", "#111111")),
                   linestyle=DASHES.get(str(line.get("dash", "solid")), "-"), linewidth=width, zorder=1.5,
                   scalex=False, scaley=False)  # fmt: skip
        return
    from matplotlib.patches import Rectangle

    fill = shape.get("fillcolor", "none")
    drawn.add_patch(
        Rectangle((min(x0, x1), min(y0, y1)), abs(x1 - x0), abs(y1 - y0), transform=transform, facecolor=_colour(fill),
                  edgecolor=_colour(line.get("color", "none")), linewidth=width, zorder=0.5)
    )  # fmt: skip


def _note(paper: PaperFigure, axes: Mapping[str, Axes], note: Mapping[str, Any]) -> None:
    xref, yref = str(note.get("xref", "x")), str(note.get("yref", "y"))
    text, align = _plain(note.get("text", "")), ALIGN[str(note.get("xanchor", "center"))]
    if xref == yref == "paper":
        paper.text(0.09 + 0.89 * note["x"], 0.12 + 0.84 * note["y"], text, ha=align, va="center")
        return
    drawn, across, up = _place(axes, xref, yref)
    box = {"facecolor": "white", "edgecolor": _colour(note.get("bordercolor", "none")), "pad": 1.5, "linewidth": 1.2}
    heights = {"top": "top", "bottom": "bottom"}
    moved = (note.get("xshift", 0) * POINTS_PER_PX, note.get("yshift", 0) * POINTS_PER_PX)
    drawn.annotate(text, (note["x"], note["y"]), xycoords=_blended(drawn, across, up), xytext=moved,
                   textcoords="offset points", ha=align, va=heights.get(str(note.get("yanchor", "middle")), "center"),
                   bbox=box, zorder=4)  # fmt: skip


def _place(axes: Mapping[str, Axes], xref: str, yref: str) -> tuple[Axes, bool, bool]:
    """The axes that two references name, and whether each counts along the axes' own length."""
    across, up = xref.partition(" ")[0], yref.partition(" ")[0]
    named = across if xref != "paper" else f"x{up[1:]}" if yref != "paper" else "x"
    drawn = axes.get(named) or next(iter(axes.values()))
    return drawn, xref == "paper" or xref.endswith("domain"), yref == "paper" or yref.endswith("domain")


def _blended(axes: Axes, across: bool, up: bool) -> Any:
    from matplotlib.transforms import blended_transform_factory

    return blended_transform_factory(
        axes.transAxes if across else axes.transData, axes.transAxes if up else axes.transData
    )


def _held(values: list[Any]) -> list[Any]:
    return [np.nan if value is None else value for value in values]


def _each(value: Any, count: int) -> list[Any]:
    if isinstance(value, str | int | float):
        return [value] * count
    return numbers(value)


def _first(value: Any) -> Any:
    return value if isinstance(value, str | int | float) else numbers(value)[0]


def _or(value: Any, other: Any) -> Any:
    return other if value is None else value


def _colour(value: Any) -> Any:
    if value is None:
        return "#111111"
    text = str(value)
    if text.startswith("rgba"):
        red, green, blue, alpha = (float(part) for part in text[5:-1].split(","))
        return (red / 255, green / 255, blue / 255, alpha)
    return "none" if text == "transparent" else text


def _alpha(value: Any) -> float | None:
    return None if str(value).startswith("rgba") else 0.5


def _plain(text: Any) -> str:
    """Words without the plot library's tags; its line breaks are kept."""
    return unescape(re.sub(r"<[^>]+>", "", str(text).replace("<br>", "\n"))).replace("$", r"\$")


def known_types() -> Sequence[str]:
    """The traces that can be drawn."""
    return ("scatter", "bar", "contour")
