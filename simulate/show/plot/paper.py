"""The paper that every figure is drawn on: size, ink, line styles, and the way to SVG and PNG.

Figures are made with `Figure` and never through pyplot, so no state is left behind and no setting is changed.
"""

from __future__ import annotations

import contextlib
import contextvars
import gc
import io
import re
import textwrap
import warnings
from pathlib import Path

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure

WIDTH_IN, HEIGHT_IN = 7.2, 3.4
NARROW_IN = 3.75
"""A figure for a telephone is drawn at this width with the same type, not shrunk to it."""
KEY_LINE_IN = 0.185
_width_in = contextvars.ContextVar("width_in", default=WIDTH_IN)
TEXT_PT = 9.0
INK, GREY, RULE = "#1f2933", "#5b6672", "#c9d0d8"
DARK, MIDDLE, LIGHT = "#0b3c6f", "#d0720b", "#f2cf6b"
"""Dark blue, orange, pale yellow: told apart by lightness alone, and by the three common colour deficiencies."""

LINES = (
    {"color": DARK, "linestyle": "-"},
    {"color": MIDDLE, "linestyle": (0, (5, 2))},
    {"color": "#1b7f6b", "linestyle": (0, (1, 1.4))},
    {"color": "#7a3b8f", "linestyle": (0, (6, 2, 1, 2))},
    {"color": INK, "linestyle": (0, (9, 3))},
    {"color": "#8a8f98", "linestyle": (0, (3, 1, 1, 1, 1, 1))},
)
"""Lines differ in colour and in stroke, so that they are told apart on a grey print."""

MARKERS = ("o", "s", "^", "D", "v", "P")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_SVG = {"svg.fonttype": "none", "svg.image_inline": True}
"""Text stays text: a third of the size of glyph outlines, searchable, read by screen readers, and printed sharp. Where
the viewer lacks the font it takes a narrower one (ours is among the widest), so labels shrink and are never cut off."""


@contextlib.contextmanager
def narrow():
    """Figures made inside are drawn for a telephone."""
    token = _width_in.set(NARROW_IN)
    try:
        yield
    finally:
        _width_in.reset(token)


def is_narrow() -> bool:
    """Figures are drawn for a telephone just now."""
    return _width_in.get() < WIDTH_IN


def paper(
    rows: int = 1, columns: int = 1, *, height_in: float = HEIGHT_IN, margins_in=(0.75, 0.15, 0.55, 0.4), gap=0.22
):
    """New axes on a figure of their own, placed by inches so that no layout has to be worked out.

    Parameters
    ----------
    rows, columns : int
    height_in : float
        [in]
    margins_in : tuple of float
        Left, right, bottom, top. [in]
    gap : float or tuple of float
        Between panels, across and down, as a share of their mean size.

    Returns
    -------
    Axes, or ndarray of Axes with shape (rows, columns) where there are several
    """
    width_in = _width_in.get()
    figure = Figure(figsize=(width_in, height_in), dpi=96)
    FigureCanvasAgg(figure)
    left, right, bottom, top = margins_in
    across, down = gap if isinstance(gap, tuple) else (gap, gap)
    figure.subplots_adjust(
        left=left / width_in,
        right=1 - right / width_in,
        bottom=bottom / height_in,
        top=1 - top / height_in,
        wspace=across,
        hspace=down,
    )
    panels = figure.subplots(rows, columns, squeeze=False)
    for ax in panels.flat:
        _plain(ax)
    return panels if panels.size > 1 else panels[0, 0]


def _plain(ax: Axes) -> None:
    ax.spines[["top", "right"]].set_visible(False)
    ax.spines[["left", "bottom"]].set_color(GREY)
    ax.tick_params(labelsize=TEXT_PT, colors=INK, length=3, color=GREY)
    ax.grid(axis="y", color=RULE, linewidth=0.6)
    ax.set_axisbelow(True)


def name_axes(ax: Axes, x: str, y: str) -> None:
    """Write what each axis is, with its unit."""
    ax.set_xlabel(x, fontsize=TEXT_PT, color=INK)
    ax.set_ylabel(y, fontsize=TEXT_PT, color=INK)


def key_above(ax: Axes, columns: int = 4, **more) -> None:
    """A key above the axes, never on the data and never cut off: a long one has fewer columns and a higher paper."""
    named = ax.get_legend_handles_labels()[1]
    if not named:
        return
    if is_narrow():
        columns = 1 if max(map(len, named)) > 18 else 2
        _room_above(ax, -(-len(named) // columns))
    box = ax.get_position()
    for n in range(columns, 0, -1):
        key = ax.legend(
            loc="lower left",
            bbox_to_anchor=(-box.x0 / box.width if is_narrow() else 0.0, 1.0),
            ncols=n,
            frameon=False,
            fontsize=TEXT_PT - 0.5,
            borderaxespad=0.2,
            handlelength=2.6,
            columnspacing=1.4,
            **more,
        )
        drawn = key.get_window_extent(ax.figure.canvas.get_renderer())
        if drawn.x1 <= ax.figure.bbox.x1:
            break
    _make_room(ax.figure, (drawn.y1 - ax.figure.bbox.y1) / ax.figure.dpi)


def _make_room(figure: Figure, more_in: float) -> None:
    """Make a figure so much higher above its axes, which keep their size. [in]"""
    if more_in <= 0.0:
        return
    width, height = figure.get_size_inches()
    higher, at = height + more_in + 0.05, figure.subplotpars
    figure.set_size_inches(width, higher)
    figure.subplots_adjust(bottom=at.bottom * height / higher, top=at.top * height / higher)


def _room_above(ax: Axes, n_lines: int) -> None:
    """Make a figure higher where the lines of a key do not fit above its highest axes."""
    figure = ax.figure
    height_in, top = figure.get_figheight(), ax.get_position().y1
    missing_in = n_lines * KEY_LINE_IN + 0.08 - (1.0 - top) * height_in
    if missing_in > 0.0 and top > 0.6:
        below = figure.subplotpars.bottom * height_in
        figure.set_figheight(height_in + missing_in)
        whole_in = height_in + missing_in
        figure.subplots_adjust(bottom=below / whole_in, top=top * height_in / whole_in)


def named_bar(ax: Axes, x: float, y: float, text: str, *, side: str = "right") -> None:
    """Write the value of a mark beside it; `side` is "right", "left" or "above"."""
    apart = {"right": (3, 0), "left": (-3, 0), "above": (0, 2)}[side]
    across = {"right": "left", "left": "right", "above": "center"}[side]
    ax.annotate(
        text,
        (x, y),
        xytext=apart,
        textcoords="offset points",
        ha=across,
        va="bottom" if side == "above" else "center",
        fontsize=TEXT_PT - 1.0,
        color=INK,
    )


def bars(ax: Axes, at, values, width: float, *, bottom=0.0, color=DARK, hatch: str = "", label: str = "") -> None:
    """A row of bars as one collection: a tenth of the time of as many patches.

    Parameters
    ----------
    at, values, bottom : array_like, shape (n_bars,)
        Middle, height (downwards where negative) and foot of each.
    """
    at, foot = np.asarray(at, dtype=float), np.asarray(bottom, dtype=float) + np.zeros(len(at))
    left, right, top = at - width / 2.0, at + width / 2.0, foot + np.asarray(values, dtype=float)
    around = ((left, foot), (left, top), (right, top), (right, foot))
    corners = np.stack([np.stack(corner, axis=-1) for corner in around], axis=1)
    shown = corners[np.asarray(values) != 0.0]
    drawn = PolyCollection(shown, facecolors=color, edgecolors=INK, linewidths=0.4, hatch=hatch or None, label=label)
    drawn.sticky_edges.y.append(0.0)
    ax.add_collection(drawn)
    ax.update_datalim(np.concatenate([shown.reshape(-1, 2), [[at[0], foot[0]]]]))
    ax.autoscale_view()


def month_name(key: str) -> str:
    """Label of a billing month: "2025-01" is Jan; the date of a billing cycle keeps month and day."""
    match = re.fullmatch(r"\d{4}-(\d{2})(-\d{2})?", key)
    return MONTHS[int(match[1]) - 1] + (match[2] or "").replace("-", " ") if match else key


def as_svg(figure: Figure, name: str, title: str, text: str) -> str:
    """A figure as SVG with its title and description, every id led by `plot-name` so that figures can share a page."""
    name = f"plot-{name}"
    _as_written(figure)
    buffer = io.StringIO()
    with _quiet(), drawing(), matplotlib.rc_context({**_SVG, "svg.hashsalt": name}):
        FigureCanvasSVG(figure).print_svg(buffer, metadata=dict.fromkeys(("Date", "Creator", "Format", "Type")))
    FigureCanvasAgg(figure)
    drawn = buffer.getvalue()
    drawn = drawn[drawn.index("<svg") :]
    drawn = re.sub(r"\s*<metadata>.*?</metadata>", "", drawn, flags=re.S)
    drawn = re.sub(r'\s*<defs>\s*<style type="text/css">.*?</style>\s*</defs>', "", drawn, flags=re.S)
    drawn = re.sub(r"<[a-z][^>]*>", lambda tag: _led_by(name, tag[0]), drawn)
    head, _, rest = drawn.partition(">")
    said = (
        f'<title id="{name}-title">{_escaped(title)}</title>\n<desc id="{name}-desc">{_escaped(text)}</desc>'
        "\n<style>svg * {stroke-linejoin: round; stroke-linecap: butt}</style>"
    )
    return f'{head} role="img" aria-labelledby="{name}-title {name}-desc">\n{said}{rest}'


def _led_by(name: str, tag: str) -> str:
    """One tag with its ids and references led by a name; texts between tags are never touched."""
    if "#" in tag or " id=" in tag or "xlink" in tag:
        tag = tag.replace(' xmlns:xlink="http://www.w3.org/1999/xlink"', "").replace("xlink:href=", "href=")
        for lead in (' id="', "url(#", 'href="#'):
            tag = tag.replace(lead, f"{lead}{name}-")
    return tag


@contextlib.contextmanager
def drawing():
    """Draw many figures: texts as written, and no search for dead objects while thousands of live ones are made.

    Names come from the client's files: a dollar sign in them is no formula.
    """
    collects = gc.isenabled()
    gc.disable()
    try:
        with matplotlib.rc_context({"text.parse_math": False}):
            yield
    finally:
        if collects:
            gc.enable()


def _as_written(figure: Figure) -> None:
    """Texts that were made outside `drawing`; those of ticks that do not exist yet are made within it."""
    made = [*figure.texts, *(text for key in figure.legends for text in key.get_texts())]
    for ax in figure.axes:
        made += [*ax.texts, ax.title, ax._left_title, ax.xaxis.label, ax.yaxis.label]
        made += [text for key in filter(None, [ax.get_legend()]) for text in key.get_texts()]
        for axis in (ax.xaxis, ax.yaxis):
            made += [text for tick in vars(axis).get("majorTicks", ()) for text in (tick.label1, tick.label2)]
    for text in made:
        text.set_parse_math(False)


@contextlib.contextmanager
def _quiet():
    """A name in a script that our font lacks is left to the reader's fonts."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from font", category=UserWarning)
        yield


def _title_above(figure: Figure, lines: list[str]) -> None:
    """Room for a title above everything else, and the title."""
    if figure.get_label() == "titled":
        return
    before_in = figure.get_figheight()
    after_in = before_in + 0.19 * len(lines) + 0.06
    share, places = before_in / after_in, figure.subplotpars
    figure.set_figheight(after_in)
    figure.subplots_adjust(bottom=places.bottom * share, top=places.top * share)
    for key in figure.legends:
        key.set_bbox_to_anchor((0.06, 0.995 * share))
    at = {"ha": "left", "va": "top", "fontsize": TEXT_PT + 0.5, "fontweight": "bold", "color": INK}
    figure.text(0.015, 1.0 - 0.05 / after_in, "\n".join(lines), **at)
    figure.set_label("titled")


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def write_png(figure: Figure, path: Path | io.BytesIO, dpi: float = 110.0, title: str = "") -> None:
    """A figure as PNG, its title above it."""
    if title:
        _title_above(figure, textwrap.wrap(title, int(12 * figure.get_figwidth())))
    _as_written(figure)
    FigureCanvasAgg(figure)
    with _quiet(), drawing():
        figure.savefig(path, format="png", dpi=dpi, facecolor="white")
