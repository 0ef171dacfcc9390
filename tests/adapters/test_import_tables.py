"""Tables as other programs write them: each odd form is read rightly or refused."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from bankwise.adapters.analysis import Analysis, analyse
from bankwise.adapters.decode import Decoder
from bankwise.adapters.errors import ImportFault
from bankwise.adapters.import_draft import draft, guess
from bankwise.adapters.import_table import fresh_samples
from bankwise.adapters.importing import UNDATED, Imported, import_csv
from bankwise.adapters.session_file import Session, read_session
from bankwise.replay_logs import shipped
from bankwise.signals.catalogue import SIGNALS
from bankwise.signals.columns import Columns

RPM = '[signals.rpm]\ncolumn = "rpm"\nevery_row = true\n'


def imported(
    folder: Path, table: str | bytes, how: str
) -> tuple[Imported, Session, Columns]:
    """What an import made, its session and its columns."""
    data = table if isinstance(table, bytes) else table.encode()
    (folder / "t.csv").write_bytes(data)
    (folder / "m.toml").write_text(how, "utf-8")
    out = folder / "o.jsonl"
    out.unlink(missing_ok=True)
    made = import_csv(folder / "t.csv", folder / "m.toml", out)
    session = read_session(out)
    decoder = Decoder(session.header)
    decoder.feed(session.records)
    return made, session, decoder.columns


@pytest.mark.parametrize(
    ("cells", "table", "expected"),
    [
        (("1,234.5", "2,345"), 'delimiter = ";"\n', [1234.5, 2345]),
        (("1.234,5", "2345"), 'decimal = ","\ndelimiter = ";"\n', [1234.5, 2345]),
        (("1234 rpm", "2345RPM"), "", [1234, 2345]),
        (("+1.2e3", "1.3E3"), "", [1200, 1300]),
        (("1200", "-", "n/a", "NULL", "1300"), "", [1200, 1300]),
    ],
)
def test_numbers_as_people_write_them(
    tmp_path: Path, cells: tuple[str, ...], table: str, expected: list[float]
) -> None:
    """Thousands, decimal commas, units behind the number and words for nothing."""
    sign = ";" if "delimiter" in table else ","
    rows = "".join(f"{i}{sign}{cell}\n" for i, cell in enumerate(cells))
    how = f'[time]\ncolumn = "t"\n[table]\n{table}{RPM}'
    made, _, columns = imported(tmp_path, f"t{sign}rpm\n{rows}", how)
    assert columns["rpm"].v.tolist() == expected
    assert made.warnings == ()


@pytest.mark.parametrize(
    ("cell", "unit", "word"),
    [
        ("1800;5", "", "has no column"),
        ("1800,5", "", 'is it [table] decimal = ","?'),
        ("18 kPa", "", "hold no number in rpm, such as '18 kPa'"),
        ("fast", "", "such as 'fast'"),
    ],
)
def test_a_column_that_cannot_be_read_is_refused(
    tmp_path: Path, cell: str, unit: str, word: str
) -> None:
    """A wrong decimal sign, unit or column is one line that says what to look at."""
    name = "wrong" if ";" in cell else "rpm"
    table = f"t;{name}\n" + "".join(f"{i};{cell}\n" for i in range(4))
    with pytest.raises(ImportFault) as caught:
        imported(tmp_path, table, f'[time]\ncolumn = "t"\n{RPM}')
    assert word in str(caught.value)


def test_a_table_without_a_value_is_refused(tmp_path: Path) -> None:
    """Blank cells only make no session."""
    with pytest.raises(ImportFault, match="no mapped column holds a single value"):
        imported(tmp_path, "t,rpm\n0,\n1,-\n", f'[time]\ncolumn = "t"\n{RPM}')


def test_a_decimal_point_is_not_taken_for_thousands(tmp_path: Path) -> None:
    """With decimal commas told, `0.455` is no number rather than 455."""
    how = '[time]\ncolumn = "t"\n[table]\ndecimal = ","\n' + (
        '[signals.o2_b1s1_v]\ncolumn = "v"\n'
    )
    table = "t;v\n0;0,4\n1;0.455\n2;0,6\n"
    made, _, columns = imported(tmp_path, table, how)
    assert columns["o2_b1s1_v"].v.tolist() == [0.4, 0.6]
    assert made.warnings == ("o2_b1s1_v: 1 cells hold no number",)


@pytest.mark.parametrize(
    ("time", "cells", "seconds"),
    [
        ('unit = "ms"', ("1502902504267", "1502902505267"), 1.0),
        ('unit = "clock"', ("11:59:59.5 AM", "12:00:01 PM"), 1.5),
        ('unit = "clock"', ("11:59:59 PM", "12:00:01 a.m."), 2.0),
        ('unit = "clock"', ("09:29:58,7", "09:29:59,2"), 0.5),
        (
            'format = "%d/%m/%Y %H:%M:%S"',
            ("03/05/2031 23:59:59", "04/05/2031 0:0:1"),
            2,
        ),
        ('unit = "date"', ("2031-03-30T01:59:59", "2031-03-30T03:00:00"), 3601.0),
        ('unit = "min"', ("0", "0.5"), 30.0),
    ],
)
def test_times_as_loggers_write_them(
    tmp_path: Path, time: str, cells: tuple[str, str], seconds: float
) -> None:
    """Milliseconds since 1970, clocks of twelve hours, dates in other forms."""
    table = "t;rpm\n" + "".join(f"{cell};{900 + i}\n" for i, cell in enumerate(cells))
    if seconds > 600:
        _, session, _ = imported(tmp_path, table, f'[time]\ncolumn="t"\n{time}\n{RPM}')
        assert session.header.started == "2031-03-30T01:59:59+00:00"
        return
    _, _, columns = imported(tmp_path, table, f'[time]\ncolumn = "t"\n{time}\n{RPM}')
    assert np.diff(columns["rpm"].t).tolist() == pytest.approx([seconds], abs=2e-4)


def test_the_session_begins_when_the_table_says(tmp_path: Path) -> None:
    """Times since 1970 and dates date the session; others leave it undated."""
    how = '[time]\ncolumn = "t"\nunit = "ms"\n' + RPM
    _, session, _ = imported(tmp_path, "t,rpm\n1502902504267,900\n", how)
    began = datetime.fromisoformat(session.header.started)
    assert began.timestamp() == 1502902504
    assert UNDATED not in session.header.vehicle
    _, session, _ = imported(tmp_path, "t,rpm\n17,900\n", how)
    assert session.header.vehicle[UNDATED] is True


def test_date_and_time_in_two_columns(tmp_path: Path) -> None:
    """Several time columns are joined by a blank."""
    how = f'[time]\ncolumn = ["day", "hour"]\nunit = "date"\n{RPM}'
    table = "day,hour,rpm\n2031-01-02,10:00:00,900\n2031-01-02,10:00:02,901\n"
    made, _, _ = imported(tmp_path, table, how)
    assert made.seconds == 2


def test_the_longest_of_several_drives_is_taken_and_any_other_can_be(
    tmp_path: Path,
) -> None:
    """A clock that starts again, or a pause of ten minutes, parts two drives."""
    times = [*range(10), *range(30), *range(1000, 1020)]
    table = "t,rpm\n" + "".join(f"{t},{900 + i}\n" for i, t in enumerate(times))
    how = f'[time]\ncolumn = "t"\n[table]\ndrive = 0\n{RPM}'
    made, _, columns = imported(tmp_path, table, how.replace("drive = 0\n", ""))
    assert columns["rpm"].v.tolist() == list(range(910, 940))
    assert made.warnings == (
        "3 drives in one table: number 2 is imported, [table] drive takes another",
    )
    _, _, columns = imported(tmp_path, table, how.replace("= 0", "= 3"))
    assert columns["rpm"].v.tolist() == list(range(940, 960))
    with pytest.raises(ImportFault, match="the table holds 3"):
        imported(tmp_path, table, how.replace("= 0", "= 4"))
    with pytest.raises(ImportFault, match="a number from 1"):
        imported(tmp_path, table, how)


def test_the_rows_of_one_car_among_many(tmp_path: Path) -> None:
    """`only` takes the rows whose cells are as wanted, `10.0` for `10` too."""
    how = f'[time]\ncolumn = "t"\n[table]\nonly = {{ car = "10", trip = "7" }}\n{RPM}'
    table = "car,trip,t,rpm\n10.0,7,0,900\n11,7,0,901\n10,8,0,902\n10,7,1,903\n"
    _, _, columns = imported(tmp_path, table, how)
    assert columns["rpm"].v.tolist() == [900, 903]


def test_newest_row_first_is_turned_round(tmp_path: Path) -> None:
    """A table that runs backwards loses no row."""
    table = "t,rpm\n" + "".join(f"{t},{900 + t}\n" for t in range(20, -1, -1))
    made, _, columns = imported(tmp_path, table, f'[time]\ncolumn = "t"\n{RPM}')
    assert columns["rpm"].v.tolist() == [900 + t for t in range(21)]
    assert made.warnings == ("the newest row came first: the order was turned round",)


def test_a_time_that_stands_apart_does_not_split_a_drive(tmp_path: Path) -> None:
    """One row stamped 1970 or 2099 is left out and said; the rest stays one drive."""
    times = [*range(1000, 1010), 0, *range(1010, 1020), 9_999_999, *range(1020, 1030)]
    table = "t,rpm\n" + "".join(f"{t},{900 + i}\n" for i, t in enumerate(times))
    made, _, columns = imported(tmp_path, table, f'[time]\ncolumn = "t"\n{RPM}')
    assert len(columns["rpm"]) == 30
    assert made.warnings == ("2 rows whose time stands apart were left out",)


def test_a_clock_of_whole_seconds_is_uncertain_by_a_second(tmp_path: Path) -> None:
    """Ten rows a second with one time are spread evenly, each a second uncertain."""
    table = "t,rpm\n" + "".join(f"{i // 10},{900 + i}\n" for i in range(100))
    made, _, columns = imported(tmp_path, table, f'[time]\ncolumn = "t"\n{RPM}')
    assert np.diff(columns["rpm"].t) == pytest.approx(0.1, abs=2e-4)
    assert columns["rpm"].d == pytest.approx(1.0)
    assert "every time is uncertain by 1 s" in made.warnings[0]


def test_a_row_told_twice_counts_once(tmp_path: Path) -> None:
    """Single rows with the time of the row before are left out and counted."""
    times = [0, 1, 2, 2, 3, 4, 5, 6, 7, 8]
    table = "t,rpm\n" + "".join(f"{t},{900 + t}\n" for t in times)
    made, _, columns = imported(tmp_path, table, f'[time]\ncolumn = "t"\n{RPM}')
    assert columns["rpm"].v.tolist() == [900 + t for t in range(9)]
    assert made.warnings == ("1 rows with the time of another were left out",)


def test_words_become_numbers(tmp_path: Path) -> None:
    """A status told in words counts where the map gives the words numbers."""
    how = (
        '[time]\ncolumn = "t"\n[signals.fuel_status_b1]\ncolumn = "s"\n'
        "every_row = true\nwords = { CL = 2, OL = 1 }\n"
    )
    _, _, columns = imported(tmp_path, "t,s\n0,OL\n1,CL\n2,CL\n", how)
    assert columns["fuel_status_b1"].v.tolist() == [1, 2, 2]


def test_utf_16_and_wide_tables(tmp_path: Path) -> None:
    """A spreadsheet's UTF-16 and four thousand other columns are no trouble."""
    wide = ",".join(f"c{i}" for i in range(4000))
    zeros = ",".join("0" for _ in range(4000))
    table = f"t,{wide},rpm\n0,{zeros},900\n1,{zeros},901\n"
    how = f'[time]\ncolumn = "t"\n{RPM}'
    _, _, columns = imported(tmp_path, table.encode("utf-16"), how)
    assert columns["rpm"].v.tolist() == [900, 901]


def test_two_columns_of_one_name_are_told(tmp_path: Path) -> None:
    """The first of two equal names is read, and said to be."""
    how = f'[time]\ncolumn = "t"\n{RPM}'
    made, _, columns = imported(tmp_path, "t,rpm,rpm\n0,900,1\n1,901,1\n", how)
    assert columns["rpm"].v.tolist() == [900, 901]
    assert made.warnings == ("2 columns are named 'rpm': the first is read",)


@pytest.mark.parametrize(
    ("signal", "values", "unit", "ask"),
    [
        ("ect_c", (190, 195), "°C", "°F"),
        ("map_kpa", (5, 6), "kPa", "psi"),
        ("baro_kpa", (29, 30), "kPa", "inHg"),
        ("load_pct", (0.2, 0.6), "%", "ratio"),
        ("o2_b1s1_v", (100, 800), "V", "mV"),
        ("lambda_b1s1", (14.2, 14.9), "λ", "AFR"),
        ("stft_b1_pct", (0.97, 1.04), "%", "factor"),
    ],
)
def test_values_of_another_unit_raise_a_doubt(
    tmp_path: Path, signal: str, values: tuple[float, float], unit: str, ask: str
) -> None:
    """Values that no car shows in the map's unit are asked about, never changed."""
    how = f'[time]\ncolumn = "t"\n[signals.{signal}]\ncolumn = "x"\nunit = "{unit}"\n'
    table = "t,x\n" + "".join(f"{i},{values[i % 2]}\n" for i in range(20))
    made, _, _ = imported(tmp_path, table, how)
    assert any(signal in told and ask in told for told in made.warnings), made.warnings
    fitting = how.replace(f'"{unit}"', f'"{ask}"')
    made, _, _ = imported(tmp_path, table, fitting)
    assert made.warnings == ()


def test_a_high_rail_pressure_is_not_cut_off(tmp_path: Path) -> None:
    """A rail pressure beyond one PID's reach goes into the one that carries it."""
    how = '[time]\ncolumn = "t"\n[signals.fuel_rail_kpa]\ncolumn = "p"\n'
    made, _, columns = imported(tmp_path, "t,p\n0,15000\n1,16000\n", how)
    assert columns["fuel_rail_kpa"].v.tolist() == [15000, 16000]
    assert made.warnings == ()


def test_a_resting_trim_stays_alive_at_the_pace_of_the_restless() -> None:
    """A long-term trim that rests for minutes is as fresh as the slowest mover."""
    resting = np.repeat([1.6, 2.3, 1.6, 0.8], 60)
    assert fresh_samples(resting, 1).sum() == 4
    assert fresh_samples(resting, 1, 2).sum() == 120


def as_rows(columns: Columns, hz: float) -> str:
    """A drive as another logger writes it: a row a moment, last values repeated."""
    names = sorted(name for name in columns.measured if name in SIGNALS)
    t = np.arange(0.0, columns.end_s, 1 / hz)
    held = []
    for name in names:
        at = np.searchsorted(columns[name].t, t, "right") - 1
        values = columns[name].v[np.maximum(at, 0)]
        held.append([f"{v:.6g}" if i >= 0 else "" for i, v in zip(at, values)])  # noqa: B905
    lines = [",".join(("t_s", *names))]
    lines += [",".join((f"{x:.2f}", *cells)) for x, *cells in zip(t, *held)]  # noqa: B905
    return "\n".join(lines) + "\n"


def judged(folder: Path, name: str, hz: float) -> Analysis:
    """A shipped drive's table at some rate, imported by its own draft and judged."""
    session = read_session(shipped()[name])
    decoder = Decoder(session.header)
    decoder.feed(session.records)
    (folder / "t.csv").write_text(as_rows(decoder.columns, hz), "utf-8")
    _, made, _ = imported(
        folder, (folder / "t.csv").read_bytes(), draft(folder / "t.csv")
    )
    return analyse(made)


def test_a_healthy_drive_at_one_row_a_second_is_judged_honestly(
    tmp_path: Path,
) -> None:
    """At 1 Hz nothing is accused, and switching is said to be too slow to judge."""
    engine = judged(tmp_path, "healthy", 1.0).engine
    assert {flag.id for flag in engine.flags} <= {"too-slow-to-tell"}
    assert engine.explanations()[0].id == "no-fault-seen"
    told = [f"{limit.about} {limit.what}" for limit in engine.cannot_tell()]
    assert "B1S1 switching" in told


def test_a_fault_shows_at_one_row_a_second(tmp_path: Path) -> None:
    """Air behind the meter is found in trims at 1 Hz as well."""
    engine = judged(tmp_path, "unmetered-air", 1.0).engine
    assert engine.explanations()[0].id == "common-unmetered-air"


@pytest.mark.parametrize(
    ("column", "signal", "unit"),
    [
        ("Short Term Fuel Trim Bank 2[%]", "stft_b2_pct", "%"),
        ("LONGFT1", "ltft_b1_pct", None),
        ("MAF[g/sec]", "maf_gps", "g/sec"),
        ("Engine RPM [RPM]", "rpm", "RPM"),
        ("O2S21 (V)", "o2_b2s1_v", "V"),
        ("Oxygen sensor bank 1 sensor 2 (V)", "o2_b1s2_v", "V"),
        ("O2 B2S1 lambda", "lambda_b2s1", None),
        ("Intake Manifold Absolute Pressure [kPa]", "map_kpa", "kPa"),
        ("Vehicle Speed Sensor [km/h]", "speed_kmh", "km/h"),
        ("Oxygen sensor", None, None),
        ("Latitude[deg]", None, "deg"),
    ],
)
def test_a_draft_knows_the_trades_words(
    column: str, signal: str | None, unit: str | None
) -> None:
    """Column names in the trade's words are recognised; others are left alone."""
    found = guess(column)
    assert (found.signal, found.unit) == (signal, unit)


def test_a_draft_of_an_own_export_brings_the_same_values_back(tmp_path: Path) -> None:
    """A table with a row a value is drafted and imported as it was exported."""
    table = (
        "t_s,signal,value,unit\n0.0000,rpm,900,rpm\n0.0000,ect_c,80,°C\n"
        "0.5000,rpm,900,rpm\n1.0000,rpm,903,rpm\n"
    )
    (tmp_path / "own.csv").write_text(table, "utf-8")
    made, _, columns = imported(tmp_path, table, draft(tmp_path / "own.csv"))
    assert columns["rpm"].v.tolist() == [900, 900, 903]
    assert columns["ect_c"].v.tolist() == [80]
    assert made.warnings == ()


def test_a_draft_finds_lines_before_the_names_and_the_decimal_comma(
    tmp_path: Path,
) -> None:
    """Titles above the table, semicolons and commas are noticed."""
    table = "A title\nof two lines\nTime (ms);Engine RPM;Notes\n0;900,5;x\n500;901,5;\n"
    (tmp_path / "t.csv").write_text(table, "utf-8")
    text = draft(tmp_path / "t.csv")
    assert "#   Notes" in text
    _, _, columns = imported(tmp_path, table, text)
    assert columns["rpm"].v.tolist() == [900.5, 901.5]
    assert np.diff(columns["rpm"].t) == pytest.approx(0.5, abs=2e-4)


def test_a_draft_without_a_time_is_refused(tmp_path: Path) -> None:
    """A table in which nothing looks like a time is refused in one line."""
    (tmp_path / "t.csv").write_text("rpm,load\n1,2\n", "utf-8")
    with pytest.raises(ImportFault, match="no column looks like a time"):
        draft(tmp_path / "t.csv")
