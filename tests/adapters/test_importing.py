"""A table from elsewhere becomes a session that says what the table said."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from bankwise.adapters.decode import Decoder
from bankwise.adapters.errors import ImportFault
from bankwise.adapters.import_table import fresh_samples
from bankwise.adapters.import_units import CONVERSIONS
from bankwise.adapters.importing import Imported, import_csv
from bankwise.adapters.seals import State, verify
from bankwise.adapters.session_file import Session, read_session
from bankwise.signals.catalogue import SIGNALS
from bankwise.signals.columns import Columns

MAP = """
[time]
column = "Time"

[vehicle]
displacement_l = 3.2

[signals.rpm]
column = "Engine speed"
[signals.ect_c]
column = "Coolant"
unit = "°F"
[signals.o2_b1s1_v]
column = "Front 1"
unit = "mV"
every_row = true
"""


def imported(
    folder: Path, table: str, how: str = MAP, encoding: str = "utf-8"
) -> tuple[Imported, Session, Columns]:
    """What an import made, its session and its columns."""
    (folder / "t.csv").write_text(table, encoding)
    (folder / "m.toml").write_text(how, "utf-8")
    out = folder / "o.jsonl"
    made = import_csv(folder / "t.csv", folder / "m.toml", out)
    session = read_session(out)
    decoder = Decoder(session.header)
    decoder.feed(session.records)
    return made, session, decoder.columns


def test_values_times_and_units_arrive(tmp_path: Path) -> None:
    """Each value comes back in its unit, at its row's time, within its PID's step."""
    table = "Time,Engine speed,Coolant,Front 1\n" + "".join(
        f"{100 + i * 0.1:.1f},{800 + 3 * i},{170 + i},{450 + 5 * i}\n"
        for i in range(50)
    )
    made, session, columns = imported(tmp_path, table)
    assert made.samples == {"rpm": 50, "ect_c": 50, "o2_b1s1_v": 50}
    assert made.warnings == ()
    assert session.header.adapter.name == "imported from t.csv"
    assert columns.vehicle.displacement_l == 3.2
    i = np.arange(50)
    assert columns["rpm"].v == pytest.approx(800 + 3 * i, abs=0.125)
    assert columns["ect_c"].v == pytest.approx((170 + i - 32) * 5 / 9, abs=0.5)
    assert columns["o2_b1s1_v"].v == pytest.approx(0.45 + 0.005 * i, abs=0.0025)
    assert columns["rpm"].t - columns["rpm"].t[0] == pytest.approx(i * 0.1, abs=2e-4)
    assert columns["rpm"].d == pytest.approx(0.1)
    assert verify(tmp_path / "o.jsonl").state is State.WHOLE


def test_only_what_was_imported_is_there(tmp_path: Path) -> None:
    """Bytes that a PID carries beside the imported value give no signal."""
    how = '[time]\ncolumn = "t"\n' + "".join(
        f'[signals.{name}]\ncolumn = "{name}"\n'
        for name in ("lambda_b1s1", "o2_b2s1_v", "fuel_status_b1")
    )
    table = "t,lambda_b1s1,o2_b2s1_v,fuel_status_b1\n0,1.0,0.4,2\n1,0.98,0.5,2\n"
    _, _, columns = imported(tmp_path, table, how)
    assert set(columns.measured) == {"lambda_b1s1", "o2_b2s1_v", "fuel_status_b1"}
    assert columns.supported == frozenset(columns.measured)


def test_a_column_of_repeats_is_sampled_at_its_own_rate(tmp_path: Path) -> None:
    """Rows ten times a second that change twice a second give two samples a second."""
    table = "Time,Engine speed,Coolant,Front 1\n" + "".join(
        f"{i * 0.1:.1f},{800 + i // 5},185,{400 + 20 * (i % 7)}\n" for i in range(300)
    )
    made, _, columns = imported(tmp_path, table)
    assert made.samples["rpm"] == 60
    assert made.stale["rpm"] == 240
    assert made.samples["ect_c"] == 30
    assert made.samples["o2_b1s1_v"] == 300
    assert np.diff(columns["rpm"].t) == pytest.approx(0.5, abs=2e-4)


def test_a_value_that_stays_is_still_sampled_at_its_interval() -> None:
    """Between two changes far apart a sample an interval is kept, no more."""
    values = np.array([1, 1, 2, 2, 3, 3, 3, 3, 3, 3, 4, 4, 5, 5], dtype=float)
    expected = [1, 0, 1, 0, 1, 0, 1, 0, 1, 0, 1, 0, 1, 0]
    assert fresh_samples(values, 10).tolist() == [bool(x) for x in expected]
    assert fresh_samples(np.ones(25), 10).sum() == 3
    assert fresh_samples(np.empty(0), 10).tolist() == []


def test_a_gap_is_a_hole(tmp_path: Path) -> None:
    """Rows more than three seconds apart leave a lost and a returned link."""
    table = "Time,Engine speed,Coolant,Front 1\n" + "".join(
        f"{t},{800 + t},185,450\n" for t in (0, 1, 2, 9, 10)
    )
    made, _, columns = imported(tmp_path, table)
    assert made.gaps == ((2.0, 9.0),)
    assert [(c.t, c.state) for c in columns.link] == [
        (0.0, "up"),
        (2.0, "lost"),
        (9.0, "back"),
        (11.0, "closed"),
    ]


def test_another_countrys_table(tmp_path: Path) -> None:
    """Semicolons, decimal commas, a title line, clock times over midnight, latin-1."""
    how = MAP.replace('column = "Time"', 'column = "Time"\nunit = "clock"', 1)
    how += '[table]\ndecimal = ","\nskip_lines = 1\n'
    how = how.replace('"Coolant"', '"Kühlmittel"')
    table = (
        "Aufzeichnung\n"
        "Time;Engine speed;Kühlmittel;Front 1\n"
        "23:59:59,5;1.800,25;185,5;450\n"
        "00:00:00,5;1.801,25;185,5;460\n"
    )
    _, _, columns = imported(tmp_path, table, how, "latin-1")
    assert columns["rpm"].v.tolist() == [1800.25, 1801.25]
    assert np.diff(columns["rpm"].t).tolist() == pytest.approx([1.0])


def test_dates_are_times_too(tmp_path: Path) -> None:
    """RFC 3339 moments count from the first one."""
    how = MAP.replace('column = "Time"', 'column = "Time"\nunit = "date"', 1)
    table = (
        "Time,Engine speed,Coolant,Front 1\n"
        "2031-01-02T03:04:05Z,800,185,450\n"
        "2031-01-02T03:04:05.250Z,801,185,450\n"
    )
    _, _, columns = imported(tmp_path, table, how)
    assert np.diff(columns["rpm"].t).tolist() == pytest.approx([0.25], abs=2e-4)


def test_odd_cells_and_rows_are_told(tmp_path: Path) -> None:
    """Blank and unreadable cells, short rows, bad times and clipped values are said."""
    table = (
        "Time,Engine speed,Coolant,Front 1\n"
        "0,800,185,450\n"
        "1,,186,bad\n"
        "soon,801,187,451\n"
        "0.5,802,188,452\n"
        "2,99999\n"
        "3,inf,189,nan\n"
    )
    made, _, columns = imported(tmp_path, table)
    assert columns["rpm"].v.tolist() == [800, 802, 16383.75]
    assert made.warnings == (
        "1 rows without a time were left out",
        "1 rows came out of order and were sorted by time",
        "rpm: 1 cells hold no number",
        "o2_b1s1_v: 1 cells hold no number",
        "rpm: 98015 rpm is not what a car shows: does the map need scale = 1000, "
        'or unit = "Hz"?',
        "rpm: 1 values lie outside what its PID can carry",
    )


@pytest.mark.parametrize(
    ("table", "how", "word"),
    [
        ("Time,Engine speed\n0,1\n", MAP, "has no column 'Coolant'"),
        ("", MAP, "no line with column names"),
        ("Time,Engine speed,Coolant,Front 1\n", MAP, "holds no row with a time"),
        (
            "Time;Engine speed;Coolant;Front 1\n0,5;800;90;450\n",
            MAP,
            "in 'Time'; there stands '0,5'; is it [table] decimal = \",\"?",
        ),
        ("x", "[time", "is not TOML"),
        ("x", "[time]\n", "[time] needs a column"),
        ("x", '[time]\ncolumn="t"\n', "no [signals.NAME]"),
        ("x", '[time]\ncolumn="t"\nunit="moons"\n', "[time] unit is one of"),
        ("x", MAP + '[signals.warp]\ncolumn="w"\n', "there is no signal of that name"),
        ("x", MAP.replace('"°F"', '"furlong"'), "unit 'furlong' is not one of"),
        ("x", MAP.replace("every_row", "always"), "'always' means nothing here"),
        ("x", MAP + "[colours]\n", "there is no table [colours]"),
        ("x", "signals = 3\n[time]\ncolumn='t'\n", "[signals] is a table"),
    ],
)
def test_what_cannot_be_used_is_one_plain_line(
    tmp_path: Path, table: str, how: str, word: str
) -> None:
    """A wrong table or map is refused in one line, and no file is left behind."""
    with pytest.raises(ImportFault) as caught:
        imported(tmp_path, table, how)
    assert word in str(caught.value)
    assert not (tmp_path / "o.jsonl").exists()


def test_an_existing_session_is_not_overwritten(tmp_path: Path) -> None:
    """The file to make must not exist yet."""
    (tmp_path / "o.jsonl").write_text("mine")
    with pytest.raises(ImportFault, match="exists"):
        imported(tmp_path, "Time,Engine speed,Coolant,Front 1\n0,1,2,3\n")
    assert (tmp_path / "o.jsonl").read_text() == "mine"


def test_every_unit_of_the_catalogue_can_be_imported() -> None:
    """Each unit converts at least from itself, and every factor is a number."""
    for signal in SIGNALS.values():
        assert CONVERSIONS[signal.unit.lower()][signal.unit.lower()] == (1.0, 0.0)
    for row in CONVERSIONS.values():
        assert all(math.isfinite(x) for pair in row.values() for x in pair)


@pytest.mark.parametrize(
    ("wanted", "unit", "value", "expected"),
    [
        ("°c", "°f", 212, 100),
        ("°c", "k", 373.15, 100),
        ("km/h", "mph", 60, 96.56064),
        ("kpa", "psi", 14.5038, 100),
        ("kpa", "inhg", 29.92, 101.32),
        ("g/s", "kg/h", 36, 10),
        ("g/s", "lb/min", 1, 7.5599),
        ("%", "factor", 1.25, 25),
        ("λ", "afr", 14.7, 1),
    ],
)
def test_conversions(wanted: str, unit: str, value: float, expected: float) -> None:
    """Well-known pairs of values convert into each other."""
    factor, offset = CONVERSIONS[wanted][unit]
    assert value * factor + offset == pytest.approx(expected, rel=1e-4)
