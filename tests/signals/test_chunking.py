"""However a session is handed over, the engine says the same at the same ticks."""

from __future__ import annotations

import numpy as np
import pytest

from bankwise.signals.columns import CodeRead, Columns, Floats, Mark
from bankwise.signals.engine import Engine, FlagEvent
from bankwise.signals.registry import DERIVED

Series = dict[str, tuple[Floats, Floats]]

SECONDS = 150.0


def _driving(rng: np.random.Generator, t: Floats) -> dict[str, Floats]:
    """A drive that stops, idles, cruises, pulls and coasts, in pieces of seconds."""
    pieces = rng.integers(0, 6, 200)
    kind = pieces[np.clip((t / rng.uniform(8, 20)).astype(int), 0, 199)]
    kind = np.where(t < 5, 0, kind)
    rpm = np.choose(kind, [0, 750, 1800, 2500, 3500, 2200]) + rng.normal(0, 20, len(t))
    rpm = np.where(kind == 0, 0, rpm)
    throttle = np.choose(kind, [12, 12, 22, 30, 82, 12]) + rng.normal(0, 0.5, len(t))
    return {
        "rpm": rpm,
        "throttle_pct": throttle,
        "speed_kmh": np.choose(kind, [0, 0, 60, 90, 80, 60]) + 0.0,
        "load_pct": np.choose(kind, [0, 25, 35, 45, 95, 10]) + 0.0,
        "maf_gps": np.choose(kind, [0.0, 3.5, 14.0, 25.0, 90.0, 4.0]),
        "fuel_status_b1": np.choose(kind, [0, 2, 2, 2, 4, 4]) + 0.0,
    }


def _session(seed: int) -> tuple[Series, bool]:
    """Random columns of a two-bank car, unevenly sampled, with holes and surprises."""
    rng = np.random.default_rng(seed)
    wide = bool(rng.integers(0, 2))
    series: Series = {}

    def times(hz: float) -> Floats:
        steps = rng.uniform(0.5, 1.5, int(SECONDS * hz)) / hz
        t = np.cumsum(steps)
        t = t[(t < SECONDS) & ~((t > 90) & (t < 97))]
        return t[t > (rng.uniform(0, 40) if rng.random() < 0.2 else 0)]

    fast = float(rng.choice([12.0, 4.0, 1.0]))
    for name in ("rpm", "throttle_pct", "speed_kmh", "load_pct", "maf_gps"):
        t = times(fast)
        series[name] = t, _driving(np.random.default_rng(seed), t)[name]
    t = times(2.0)
    status = _driving(np.random.default_rng(seed), t)["fuel_status_b1"]
    series["fuel_status_b1"] = t, status
    for name, scale in (("stft_b1_pct", 6.0), ("ltft_b1_pct", 3.0)):
        for bank in (1, 2):
            t = times(2.0)
            walk = np.cumsum(rng.normal(0, 1, len(t)))
            series[name.replace("b1", f"b{bank}")] = t, np.clip(walk, -25, scale * 4)
    for sensor in ("b1s1", "b1s2", "b2s1", "b2s2"):
        t = times(fast)
        wave = np.sign(np.sin(t * rng.uniform(1, 9)) + rng.normal(0, 0.3, len(t)))
        volts = np.clip(0.45 + 0.35 * wave + rng.normal(0, 0.05, len(t)), 0, 1)
        volts = np.where(t < rng.uniform(0, 30), 0.44, volts)
        if wide and sensor.endswith("s1"):
            series[f"lambda_{sensor}"] = t, 1 + (volts - 0.45) / 10
        else:
            series[f"o2_{sensor}_v"] = t, np.floor(volts * 200) / 200
    t = times(0.2)
    coolant = np.floor(np.minimum(20 + t, 90.0))
    series["ect_c"] = t, coolant
    t_count = times(0.06)
    counted = np.cumsum(rng.integers(0, 12, len(t_count))).astype(np.float64)
    series["misfire_count_c3"] = t_count, counted
    low = (t > 110) & (t < 125)
    series["module_v"] = t, np.where(low, 10.5, 14.0).astype(np.float64)
    series["iat_c"] = t, np.full(len(t), 25.0, dtype=np.float64)
    return series, wide


def _columns(series: Series, upto: float, columns: Columns | None = None) -> Columns:
    """The samples not later than a moment, appended to what was there."""
    out = columns or Columns()
    for name, (t, v) in series.items():
        lo, hi = len(out[name]), int(np.searchsorted(t, upto, side="right"))
        if hi > lo:
            out.extend(name, t[lo:hi], v[lo:hi], np.full(hi - lo, 0.04))
    out.end_s = upto
    return out


def _whole(series: Series) -> tuple[Engine, list[FlagEvent]]:
    engine = Engine()
    columns = _columns(series, SECONDS)
    _happen(columns, SECONDS)
    return engine, engine.advance(columns, SECONDS)


def _happen(columns: Columns, upto: float) -> None:
    happened = [
        CodeRead(50.0, "pending", ("P0171",)),
        CodeRead(70.0, "pending", ("P0171", "P0300")),
        CodeRead(120.0, "stored", ("P0171",)),
    ]
    columns.codes[:] = [read for read in happened if read.t <= upto]
    marks = [Mark(60.0, "propane", "force-rich:B1S1"), Mark(180.0, "a bang")]
    columns.marks[:] = [mark for mark in marks if mark.t <= upto]


def _pieces(series: Series, cuts: Floats) -> tuple[Engine, list[FlagEvent]]:
    engine, events, columns = Engine(), list[FlagEvent](), Columns()
    for cut in cuts:
        _columns(series, float(cut), columns)
        _happen(columns, float(cut))
        events += engine.advance(columns, float(cut))
    return engine, events


def _same(
    first: tuple[Engine, list[FlagEvent]], second: tuple[Engine, list[FlagEvent]]
) -> None:
    (engine, events), (other, others) = first, second
    assert engine.frame.n == other.frame.n
    for name in [*DERIVED, "rpm", "stft_b1_pct", "o2_b1s1_v", "ect_c"]:
        a, b = engine.frame[name], other.frame[name]
        assert a.tobytes() == b.tobytes(), (
            name,
            np.flatnonzero(~((a == b) | (np.isnan(a) & np.isnan(b))))[:5],
        )
    assert events == others
    assert engine.flags == other.flags


@pytest.mark.parametrize("seed", range(4))
def test_random_pieces_say_the_same_as_the_whole(seed: int) -> None:
    """Handed over in random pieces, every array and event is byte for byte the same."""
    series, _ = _session(seed)
    rng = np.random.default_rng(seed + 100)
    cuts = np.append(np.sort(rng.uniform(0, SECONDS, 60)), SECONDS)
    _same(_whole(series), _pieces(series, cuts))


@pytest.mark.parametrize("seed", [20, 21])
def test_tick_by_tick_says_the_same_as_the_whole(seed: int) -> None:
    """Handed over tick by tick as a live drive is, nothing differs from the batch."""
    series, _ = _session(seed)
    _same(_whole(series), _pieces(series, np.arange(0, SECONDS + 0.5, 0.5)))


def test_later_samples_change_no_earlier_tick() -> None:
    """Samples later than the ticks asked for may be there already and do not count."""
    series, _ = _session(33)
    engine, events = Engine(), list[FlagEvent]()
    columns = _columns(series, SECONDS)
    _happen(columns, SECONDS)
    for cut in (17.3, 18.0, 81.0, 105.5, SECONDS):
        events += engine.advance(columns, cut)
    _same(_whole(series), (engine, events))


def test_some_flag_rises_in_these_sessions() -> None:
    """The comparison is not empty: the random sessions do raise flags."""
    raised = {event.id for seed in range(4) for event in _whole(_session(seed)[0])[1]}
    assert len(raised) >= 5
