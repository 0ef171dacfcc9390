"""Exports read back, by readers that nobody here wrote, as what was measured.

Sources: polars reads Parquet and CSV, mdfr (a Rust library) reads MDF 4; neither
shares code with what writes them.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from bankwise.adapters.records import AdapterInfo, Header
from bankwise.signals.catalogue import SIGNALS
from bankwise.signals.columns import Columns
from bankwise.tui.export import FORMATS, CannotExport, export, long_form

HEADER = Header(
    "0d3c3f8e-6a7b-4c1d-8e9f-102030405060",
    "2031-04-05T06:07:08Z",
    "bankwise 0.1.0",
    AdapterInfo("an adapter", "6"),
)


@pytest.fixture(name="columns")
def _columns() -> Columns:
    """Three signals at their own times, with awkward numbers."""
    noise = np.random.default_rng(8)
    columns = Columns()
    for name, count in (("rpm", 400), ("o2_b1s1_v", 900), ("stft_b2_pct", 31)):
        t = np.sort(noise.uniform(0, 600, count)).round(4).astype(np.float64)
        columns.extend(name, t, noise.normal(0, 300, count), np.full(count, 0.0431))
    return columns


def _check(columns: Columns, t: Any, names: Any, values: Any, units: Any) -> None:
    """All samples are there, in time order, with their unit."""
    t, names, values = np.asarray(t), np.asarray(names), np.asarray(values)
    units = np.asarray(units)
    assert len(t) == sum(len(column) for column in columns.measured.values())
    assert np.all(np.diff(t) >= 0)
    for name, column in columns.measured.items():
        mine = names == name
        assert t[mine] == pytest.approx(column.t, abs=1e-9)
        assert values[mine] == pytest.approx(column.v, rel=1e-8)
        assert set(units[mine]) == {SIGNALS[name].unit}


def test_csv_reads_back(tmp_path: Path, columns: Columns) -> None:
    """Long form: a head and a row a sample, in UTF-8."""
    polars = pytest.importorskip("polars")
    path = tmp_path / "drive.csv"
    export("csv", path, HEADER, columns)
    head = path.read_text("utf-8").splitlines()[0]
    assert head == "t_s,signal,value,unit"
    table = polars.read_csv(path)
    _check(columns, *(table[name].to_list() for name in table.columns))


def test_parquet_reads_back(tmp_path: Path, columns: Columns) -> None:
    """All columns, the uncertainty of time among them, and the source beside them."""
    pytest.importorskip("pyarrow")
    polars = pytest.importorskip("polars")
    path = tmp_path / "drive.parquet"
    export("parquet", path, HEADER, columns)
    table = polars.read_parquet(path)
    assert table.columns == ["t_s", "d_s", "signal", "value", "unit"]
    names = table["signal"].cast(polars.String).to_list()
    told = (table[name].to_list() for name in ("value", "unit"))
    _check(columns, table["t_s"].to_list(), names, *told)
    assert table["d_s"].to_list() == pytest.approx([0.0431] * len(table))
    told_by = polars.read_parquet_metadata(path)
    assert HEADER.id in told_by["source"]


def test_mf4_reads_back(tmp_path: Path, columns: Columns) -> None:
    """Every signal with its own times, unit and name."""
    pytest.importorskip("asammdf")
    mdfr = pytest.importorskip("mdfr")
    path = tmp_path / "drive.mf4"
    export("mf4", path, HEADER, columns)
    file = mdfr.Mdfr(str(path))
    file.load_all_channels_data_in_memory()
    for name, column in columns.measured.items():
        assert np.asarray(file.get_channel_data(name)) == pytest.approx(column.v)
        times = np.asarray(file.get_channel_master_data(name))
        assert times == pytest.approx(column.t)
        assert file.get_channel_unit(name) == SIGNALS[name].unit


@pytest.mark.parametrize("form", FORMATS)
def test_nothing_measured_exports_too(tmp_path: Path, form: str) -> None:
    """A session without values gives a valid file without values."""
    for module in {"parquet": ["pyarrow"], "mf4": ["asammdf"]}.get(form, []):
        pytest.importorskip(module)
    path = tmp_path / f"empty.{form}"
    export(form, path, HEADER, Columns())
    assert path.stat().st_size > 0
    assert long_form(Columns()).names == ()


@pytest.mark.parametrize("form", ["parquet", "mf4"])
def test_a_missing_library_is_named(
    tmp_path: Path, columns: Columns, form: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without its extra a format says in one line what would bring it."""
    for module in ("pyarrow", "asammdf"):
        monkeypatch.setitem(sys.modules, module, None)
    with pytest.raises(CannotExport, match=rf"pip install 'bankwise\[{form}\]'"):
        export(form, tmp_path / "drive", HEADER, columns)
    assert list(tmp_path.iterdir()) == []


def test_a_failed_export_leaves_the_older_file(
    tmp_path: Path, columns: Columns, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When writing fails half-way, what stood there before still stands, alone."""
    path = tmp_path / "drive.csv"
    path.write_text("older")

    def half(to: Path, *_: object) -> None:
        to.write_text("half of")
        raise OSError(28, "No space left on device")

    formats: dict[str, Callable[..., None]] = {**FORMATS, "csv": half}
    monkeypatch.setattr("bankwise.tui.export.FORMATS", formats)
    with pytest.raises(CannotExport, match="No space left"):
        export("csv", path, HEADER, columns)
    assert [p.name for p in tmp_path.iterdir()] == ["drive.csv"]
    assert path.read_text() == "older"
