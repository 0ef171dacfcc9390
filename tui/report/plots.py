"""Plots for the report: inline SVG with the colours of the screen's light theme."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.ticker import MultipleLocator

from bankwise.signals.catalogue import SIGNALS
from bankwise.signals.columns import Columns, Floats
from bankwise.signals.engine import Engine
from bankwise.signals.trim_map import LOAD_STEP_PCT, RPM_STEP, Cell
from bankwise.tui.themes import PALETTES, Ink

_SUN = PALETTES["sun"]
BANK_COLOURS = {1: _SUN.inks[Ink.BANK1], 2: _SUN.inks[Ink.BANK2]}
NEUTRAL = _SUN.inks[Ink.NEUTRAL]
_FAINT = "#B8BEC6"
_WIDTH_IN = 7.1
LANE_IN = 0.74
"""Height of a lane. Unit: inch."""
_CHART_IN = 1.35
_ROUND_S = (5, 10, 15, 30, 60, 120, 300, 600, 1200, 3600)
_MOST_MARKS = 9
LOW_LANE_IN = 0.56
"""Height of a lane where two strips share a page. Unit: inch."""
HOLE_S = 3.0
"""A silence that a line must not cross. Unit: s. As the flag `link-lost`."""
_COLUMNS = 700
"""Pixel columns a trace is reduced to: lowest and highest value in each."""

_STYLE: Any = {
    "svg.fonttype": "none",
    "svg.hashsalt": "bankwise",
    "font.family": "sans-serif",
    "font.size": 7.5,
    "axes.linewidth": 0.6,
    "axes.edgecolor": _FAINT,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "xtick.color": "#444B54",
    "ytick.color": "#444B54",
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "lines.linewidth": 0.9,
}


@dataclass(frozen=True, slots=True)
class Lane:
    """One lane of a strip: its title, unit, and the signals drawn in it."""

    title: str
    unit: str
    names: tuple[str, ...]
    limits: tuple[float, float] | None = None


LANES = (
    Lane("front sensors", "V", ("o2_b1s1_v", "o2_b2s1_v"), (0.0, 1.1)),
    Lane("front sensors", "λ", ("lambda_b1s1", "lambda_b2s1"), (0.7, 1.5)),
    Lane("rear sensors", "V", ("o2_b1s2_v", "o2_b2s2_v"), (0.0, 1.1)),
    Lane("total trim", "%", ("total_trim_b1_pct", "total_trim_b2_pct")),
    Lane("engine speed", "rpm", ("rpm",)),
    Lane("load", "%", ("load_pct",), (0.0, 100.0)),
    Lane("vehicle speed", "km/h", ("speed_kmh",)),
    Lane("coolant", "°C", ("ect_c",)),
)


def svg(figure: Figure) -> str:
    """The figure as an inline SVG element, the same bytes each time."""
    out = io.StringIO()
    figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    text = out.getvalue()
    return text[text.index("<svg") :]


def reduced(t: Floats, v: Floats) -> tuple[Floats, Floats]:
    """The series with at most two values a pixel column, extremes kept.

    Shapes (n,) to (m,), m no larger than n.
    """
    if len(t) <= 2 * _COLUMNS:
        return t, v
    edges = np.linspace(t[0], t[-1], _COLUMNS + 1)[:-1]
    starts = np.unique(np.searchsorted(t, edges))
    low, high = np.minimum.reduceat(v, starts), np.maximum.reduceat(v, starts)
    at = np.repeat(t[starts], 2)
    return at, np.column_stack((low, high)).ravel()


def series(columns: Columns, name: str) -> tuple[Floats, Floats]:
    """Times and values of a signal, or of the sum of a bank's two trims.

    A hole gets a NaN, so that no line crosses it: three seconds without a value, or
    three times the usual step of a signal that is asked for seldom.
    """
    if name.startswith("total_trim_"):
        bank = name.removeprefix("total_trim_").removesuffix("_pct")
        short, long = columns[f"stft_{bank}_pct"], columns[f"ltft_{bank}_pct"]
        t, v = short.t, short.v
        if len(long):
            at = np.searchsorted(long.t, t, "right") - 1
            v = v + np.where(at >= 0, long.v[np.maximum(at, 0)], np.nan)
    else:
        t, v = columns[name].t, columns[name].v
    steps = np.diff(t)
    hole = max(HOLE_S, 3 * float(np.median(steps))) if len(steps) else HOLE_S
    breaks = np.flatnonzero(steps > hole) + 1
    return np.insert(t, breaks, t[breaks - 1]), np.insert(v, breaks, np.nan)


def strip(
    columns: Columns,
    span: tuple[float, float],
    shaded: Sequence[tuple[float, float]] = (),
    lanes: Sequence[Lane] = LANES,
    lane_in: float = LANE_IN,
) -> str:
    """Lanes on one time axis, as SVG; an empty string when nothing was measured.

    Args:
        columns: of the session.
        span: first and last moment shown. Unit: s.
        shaded: stretches to mark, such as a flag's.
        lanes: what to draw; lanes without data are left out.
        lane_in: height of each. Unit: inch.
    """
    drawn = []
    for lane in lanes:
        found = []
        for name in lane.names:
            t, v = series(columns, name)
            inside = (t >= span[0]) & (t <= span[1])
            if np.isfinite(v[inside]).any():
                found.append((name, t[inside], v[inside]))
        if found:
            drawn.append((lane, found))
    if not drawn:
        return ""
    with mpl.rc_context(_STYLE):
        figure = Figure((_WIDTH_IN, lane_in * len(drawn) + 0.3), layout="constrained")
        axes = figure.subplots(len(drawn), 1, sharex=True, squeeze=False)[:, 0]
        for axis, (lane, found) in zip(axes, drawn, strict=True):
            _lane(axis, lane, found, span, shaded)
        _minutes(axes[-1])
        return svg(figure)


def _lane(
    axis: Axes,
    lane: Lane,
    found: list[tuple[str, Floats, Floats]],
    span: tuple[float, float],
    shaded: Sequence[tuple[float, float]],
) -> None:
    for start, end in shaded:
        axis.axvspan(max(start, span[0]), min(end, span[1]), color="#E9EBEE", lw=0)
    for name, t, v in found:
        bank = _bank(name)
        colour = BANK_COLOURS.get(bank or 0, NEUTRAL)
        dashes = (0, (4, 1.2)) if bank == 2 else "solid"
        at, value = reduced(t, v)
        axis.plot(at, value, color=colour, linestyle=dashes, label=f"bank {bank}")
    axis.set_xlim(*span)
    if lane.limits:
        axis.set_ylim(*lane.limits)
    elif lane.unit == "%":
        axis.axhline(0, color=_FAINT, lw=0.6, zorder=0)
    axis.set_ylabel(f"{lane.title}\n{lane.unit}", rotation=0, ha="right", va="center")
    axis.tick_params(length=2)


def _bank(name: str) -> int | None:
    if name in SIGNALS:
        return SIGNALS[name].bank
    return 2 if "_b2" in name else 1


def _clock(seconds: float, _position: object = None) -> str:
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


def owner_chart(engine: Engine) -> str:
    """How much fuel each bank adds or takes away over the drive, as SVG.

    Ten-second medians in closed loop; between the lines is usual. An empty string when
    no trim was known.
    """
    frame, usual = engine.frame, engine.thresholds["trim_add_pct"]
    traces = {bank: frame[f"trim_10_b{bank}_pct"] for bank in BANK_COLOURS}
    known = {bank: v for bank, v in traces.items() if np.isfinite(v).any()}
    if not known:
        return ""
    top = max(1.5 * usual, *(1.15 * float(np.nanmax(abs(v))) for v in known.values()))
    with mpl.rc_context(_STYLE):
        figure = Figure((_WIDTH_IN, _CHART_IN), layout="constrained")
        axis = figure.subplots()
        axis.axhspan(-usual, usual, color="#EEF0F3", lw=0)
        axis.axhline(0, color=_FAINT, lw=0.6)
        ends = {}
        for bank, values in known.items():
            dashes = (0, (4, 1.2)) if bank == 2 else "solid"
            colour = BANK_COLOURS[bank]
            axis.plot(frame.ticks, values, color=colour, linestyle=dashes, lw=1.4)
            last = int(np.flatnonzero(np.isfinite(values))[-1])
            ends[bank] = float(frame.ticks[last]), float(values[last])
        if len(ends) > 1:
            _name_banks(axis, ends)
        axis.set_xlim(0, frame.ticks[-1])
        axis.set_ylim(-top, top)
        places = [-0.65 * top, 0, 0.65 * top]
        axis.set_yticks(places, ["takes fuel away", "as built", "adds fuel"])
        axis.tick_params(length=2)
        axis.tick_params("y", length=0)
        _minutes(axis)
        return svg(figure)


def _name_banks(axis: Axes, ends: dict[int, tuple[float, float]]) -> None:
    """Writes each bank's name at its trace's end, the higher one's above."""
    ranked = sorted(ends, key=lambda bank: ends[bank][1])
    for bank, points in zip(ranked, (-5, 5), strict=True):
        axis.annotate(
            f"bank {bank}",
            ends[bank],
            (4, points),
            textcoords="offset points",
            color=BANK_COLOURS[bank],
            va="center",
            annotation_clip=False,
        )


def _minutes(axis: Axes) -> None:
    """Marks the time axis at round moments."""
    first, last = axis.get_xlim()
    step = next(s for s in _ROUND_S if (last - first) / s <= _MOST_MARKS or s == 3600)
    axis.xaxis.set_major_locator(MultipleLocator(step))
    axis.xaxis.set_major_formatter(_clock)


def trim_maps(maps: dict[int, tuple[Cell, ...]]) -> str:
    """Each bank's trim map side by side, as SVG; empty when no cell is known."""
    known = {bank: cells for bank, cells in maps.items() if cells}
    if not known:
        return ""
    corners = [cell for cells in known.values() for cell in cells]
    rpm_top = max(cell.rpm for cell in corners) + RPM_STEP
    load_top = max(cell.load_pct for cell in corners) + LOAD_STEP_PCT
    with mpl.rc_context(_STYLE):
        figure = Figure((_WIDTH_IN, 2.6), layout="constrained")
        axes = figure.subplots(1, len(BANK_COLOURS), sharey=True, squeeze=False)[0]
        for axis in axes[len(known) :]:
            axis.set_axis_off()
        for axis, (bank, cells) in zip(axes, known.items(), strict=False):
            _map(axis, bank, cells)
            axis.set_xlim(0, rpm_top)
            axis.set_ylim(0, load_top)
            axis.set_xlabel("engine speed, rpm")
        axes[0].set_ylabel("load, %")
        return svg(figure)


def _map(axis: Axes, bank: int, cells: tuple[Cell, ...]) -> None:
    axis.set_title(f"bank {bank}", color=BANK_COLOURS[bank], fontsize=8, loc="left")
    for cell in cells:
        strength = min(abs(cell.median) / 25.0, 1.0)
        axis.add_patch(
            Rectangle(
                (cell.rpm, cell.load_pct),
                RPM_STEP,
                LOAD_STEP_PCT,
                facecolor=BANK_COLOURS[bank],
                alpha=0.08 + 0.5 * strength,
                edgecolor="white",
                linewidth=0.8,
            )
        )
        axis.text(
            cell.rpm + RPM_STEP / 2,
            cell.load_pct + LOAD_STEP_PCT / 2,
            f"{cell.median:+.0f}".replace("-", "−"),
            ha="center",
            va="center",
            fontsize=7,
        )
