"""How long the engine takes: an hour in one piece, a live tick, beside parsing JSON.

Run by hand: `python tests/benchmarks/engine_speed.py [HOURS]`. The session is made up
here: twelve signals at 12 Hz, the rest at the usual rates, an exchange a record.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from bankwise.signals.columns import Columns, Floats
from bankwise.signals.engine import Engine

FAST = (
    "o2_b1s1_v", "o2_b2s1_v", "o2_b1s2_v", "o2_b2s2_v", "rpm", "maf_gps",
    "throttle_pct", "stft_b1_pct", "stft_b2_pct", "load_pct", "speed_kmh", "timing_deg",
)  # fmt: skip
MEDIUM = (
    "ltft_b1_pct", "ltft_b2_pct", "fuel_status_b1", "fuel_status_b2", "map_kpa",
    "lambda_cmd", "abs_load_pct",
)  # fmt: skip
SLOW = ("ect_c", "iat_c", "module_v", "baro_kpa", "run_s", "fuel_level_pct")
FAST_HZ, MEDIUM_HZ, SLOW_HZ = 12.0, 2.0, 0.2


def _driven(t: Floats) -> npt.NDArray[np.intp]:
    """Which of idle, town, road, pull, fuel cut is driven; 25 s each."""
    return (t // 25).astype(np.intp) % 5


def _value(name: str, t: Floats, rng: np.random.Generator) -> Floats:
    kind = _driven(t)
    table = {
        "rpm": (750, 1500, 2200, 3500, 2000),
        "speed_kmh": (0, 45, 85, 100, 70),
        "throttle_pct": (14, 20, 26, 90, 14),
        "load_pct": (25, 35, 45, 95, 8),
        "maf_gps": (4, 9, 20, 90, 4),
        "fuel_status_b1": (2, 2, 2, 4, 4),
        "fuel_status_b2": (2, 2, 2, 4, 4),
        "abs_load_pct": (18, 25, 38, 85, 8),
    }
    fixed = {
        "ect_c": 90, "iat_c": 25, "module_v": 14, "baro_kpa": 100, "run_s": 0,
        "fuel_level_pct": 60, "lambda_cmd": 1, "map_kpa": 40, "timing_deg": 12,
    }  # fmt: skip
    if name in table:
        base: Floats = np.array(table[name], dtype=np.float64)[kind]
        return base if name.startswith("fuel") else base + rng.normal(0, 0.3, len(t))
    if name == "run_s":
        return np.floor(t)
    if name in fixed:
        return np.full(len(t), float(fixed[name]))
    if name.startswith("o2") and name.endswith("s1_v"):
        wave = 0.45 + 0.36 * np.tanh(6 * np.sin(2 * np.pi * 1.1 * t))
        return np.where(kind == 4, 0.05, np.where(kind == 3, 0.85, wave))
    if name.startswith("o2"):
        return np.where(kind == 4, 0.1, 0.7) + rng.normal(0, 0.02, len(t))
    return np.floor(rng.normal(0, 2, len(t))) * 0.78125


def _session(seconds: float) -> Columns:
    rng = np.random.default_rng(1)
    columns = Columns()
    for names, hz in ((FAST, FAST_HZ), (MEDIUM, MEDIUM_HZ), (SLOW, SLOW_HZ)):
        for i, name in enumerate(names):
            t = np.arange(0.01 + i * 0.002, seconds, 1.0 / hz)
            columns.extend(name, t, _value(name, t, rng), np.full(len(t), 0.03))
    columns.end_s = seconds
    return columns


def _json_lines(columns: Columns) -> list[str]:
    """One record an exchange, six signals in each, as a session holds them."""
    t = columns["rpm"].t
    answer = ["7E8100E410C0C1C0B23", "7E82110014A7F80AA", "7E822121405800000"]
    return [
        json.dumps({"k": "x", "t": round(float(at), 4), "q": "010C0B", "a": answer,
                    "d": 0.031})
        for at in np.repeat(t, 2)
    ]  # fmt: skip


def _timed(what: Callable[[], object]) -> float:
    began = time.perf_counter()
    what()
    return time.perf_counter() - began


def _parse(lines: list[str]) -> float:
    return _timed(lambda: [json.loads(line) for line in lines])


def _whole(columns: Columns, seconds: float) -> float:
    return _timed(lambda: Engine().advance(columns, seconds))


def _live(columns: Columns, seconds: float) -> Floats:
    """Seconds of each live tick, with the columns growing as in a drive."""
    engine, growing = Engine(), Columns()
    at = dict.fromkeys(columns.signals, 0)
    spent = []
    for tick in np.arange(0.5, seconds, 0.5):
        for name, column in columns.signals.items():
            hi = int(np.searchsorted(column.t, tick, side="right"))
            lo, at[name] = at[name], hi
            growing.extend(name, column.t[lo:hi], column.v[lo:hi], column.d[lo:hi])
        began = time.perf_counter()
        engine.advance(growing, float(tick))
        spent.append(time.perf_counter() - began)
    return np.array(spent)


def main(hours: float) -> None:
    """Prints the times."""
    seconds = 3600.0 * hours
    columns = _session(seconds)
    lines = _json_lines(columns)
    parse = min(_parse(lines) for _ in range(3))
    whole = min(_whole(columns, seconds) for _ in range(3))
    print(f"session: {hours:g} h, {len(lines)} exchanges")
    print(f"parsing its JSON alone   {parse:7.3f} s")
    print(f"whole engine             {whole:7.3f} s   ({whole / parse:.2f} x)")
    ticks = 1000 * _live(_session(600.0), 600.0)[60:]
    print(
        f"a live tick              {np.median(ticks):7.2f} ms median, "
        f"{np.percentile(ticks, 99):.2f} ms p99, {ticks.max():.2f} ms worst"
    )


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 1.0)
