"""Decoded signals for other programs: CSV, Parquet, and ASAM MDF 4.

CSV is long form, `t_s,signal,value,unit`, in time order. Parquet holds the same with
the uncertainty of each time. MDF 4 keeps each signal's own times in a group of its own.
Every file is written beside its name and moved into place when it is whole.

Parquet needs pyarrow (`[parquet]`), MDF 4 needs asammdf (`[mf4]`). asammdf is under the
LGPL, version 3 or later; python-OBD states the GPL, version 2. Whether the two may be
passed on together is not settled here, so asammdf is never installed unasked.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from bankwise.adapters.definition_file import of_header
from bankwise.adapters.moments import moment_of
from bankwise.adapters.records import Header
from bankwise.signals.catalogue import SIGNALS
from bankwise.signals.columns import Columns, Floats
from bankwise.tui.errors import CommandError

CSV_COLUMNS: Final = ("t_s", "signal", "value", "unit")

_TIME_DIGITS = 4
_VALUE_DIGITS = 9
"""Significant digits of a value: more than any encoding of a PID carries."""


class CannotExport(CommandError):
    """The file cannot be written, or what writes it is not installed."""

    title = "cannot export"


@dataclass(frozen=True, slots=True)
class LongForm:
    """All samples of a session in time order, a row a sample.

    Attributes:
        t: times. Unit: seconds. Shape (n,).
        d: length of the interval each value was measured in. Unit: seconds.
        v: values, in the unit of their signal.
        which: index into `names`.
        names: signals that hold samples, sorted.
    """

    t: Floats
    d: Floats
    v: Floats
    which: np.ndarray[tuple[int], np.dtype[np.int32]]
    names: tuple[str, ...]

    def units(self, header: Header) -> tuple[str, ...]:
        """The unit of each name; empty for a pure number."""
        maker = {row.name: row.unit for row in of_header(header.vehicle).rows}
        return tuple(unit_of(name) or maker.get(name, "") for name in self.names)


def unit_of(name: str) -> str:
    """The unit of a standard signal, empty for a pure number."""
    signal = SIGNALS.get(name)
    return signal.unit if signal is not None else ""


def long_form(columns: Columns) -> LongForm:
    """The samples of all columns in time order, names in order at equal times."""
    names = tuple(sorted(columns.measured))
    cells = [columns[name] for name in names]
    if not cells:
        nothing = np.empty(0)
        return LongForm(nothing, nothing, nothing, np.empty(0, np.int32), ())
    t = np.concatenate([column.t for column in cells])
    which = np.repeat(
        np.arange(len(names), dtype=np.int32), [len(column) for column in cells]
    )
    order = np.lexsort((which, t))
    return LongForm(
        t[order],
        np.concatenate([column.d for column in cells])[order],
        np.concatenate([column.v for column in cells])[order],
        which[order],
        names,
    )


def source_of(header: Header) -> str:
    """Where the values come from, in one line."""
    adapter = header.adapter.name or "unknown adapter"
    return f"session {header.id}, begun {header.started}, {adapter}, {header.tool}"


def write_csv(path: Path, header: Header, columns: Columns) -> None:
    """Writes long-form CSV. `header` only names the units of a maker's own signals."""
    rows = long_form(columns)
    texts = [f"{value:.{_VALUE_DIGITS}g}" for value in rows.v.tolist()]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(CSV_COLUMNS)
        names, units = rows.names, rows.units(header)
        for t, i, text in zip(rows.t.tolist(), rows.which.tolist(), texts, strict=True):
            writer.writerow((f"{t:.{_TIME_DIGITS}f}", names[i], text, units[i]))


def write_parquet(path: Path, header: Header, columns: Columns) -> None:
    """Writes long-form Parquet, with `d_s` and the source as file metadata."""
    arrow, parquet = _needed("pyarrow", "pyarrow.parquet", extra="parquet")
    rows = long_form(columns)
    index = arrow.array(rows.which, arrow.int32())
    table = arrow.table(
        {
            "t_s": rows.t,
            "d_s": rows.d,
            "signal": arrow.DictionaryArray.from_arrays(
                index, arrow.array(rows.names, arrow.string())
            ),
            "value": rows.v,
            "unit": arrow.DictionaryArray.from_arrays(
                index, arrow.array(rows.units(header), arrow.string())
            ).cast(arrow.string()),
        },
        metadata={"source": source_of(header), "session": header.id},
    )
    parquet.write_table(table, path, compression="zstd")


def write_mf4(path: Path, header: Header, columns: Columns) -> None:
    """Writes ASAM MDF 4.10: a group a signal, each with its own times."""
    (mdf,) = _needed("asammdf", extra="mf4")
    with mdf.MDF(version="4.10") as file:
        begun = moment_of(header.started)
        if begun is not None:
            file.header.start_time = begun
        file.header.comment = source_of(header)
        maker = {row.name: row for row in of_header(header.vehicle).rows}
        for name in sorted(columns.measured):
            column = columns[name]
            own = maker.get(name)
            signal = SIGNALS.get(name)
            file.append(
                mdf.Signal(
                    samples=np.array(column.v),
                    timestamps=np.array(column.t),
                    name=name,
                    unit=own.unit if own is not None else unit_of(name),
                    comment=signal.title if signal else own.title if own else "",
                ),
                comment=source_of(header),
                common_timebase=True,
            )
        file.save(path, overwrite=True)


Writer = Callable[[Path, Header, Columns], None]

FORMATS: Final[dict[str, Writer]] = {
    "csv": write_csv,
    "parquet": write_parquet,
    "mf4": write_mf4,
}
"""What writes each format."""


def export(form: str, path: Path, header: Header, columns: Columns) -> None:
    """Writes one format; the file appears whole or not at all.

    Args:
        form: a key of `FORMATS`.
        path: the file to make; an older one is replaced.
        header: of the session.
        columns: its signals.

    Raises:
        CannotExport: when a library is missing or the file cannot be written.
    """
    half = path.with_name(f".{path.stem}.part.{form}")
    try:
        FORMATS[form](half, header, columns)
        half.replace(path)
    except OSError as error:
        raise CannotExport(f"{path}: {error.strerror or error}") from None
    finally:
        half.unlink(missing_ok=True)


def _needed(*modules: str, extra: str) -> tuple[Any, ...]:
    """Imports what an extra brings. Raises CannotExport when it is not there."""
    import importlib

    try:
        return tuple(importlib.import_module(module) for module in modules)
    except ImportError as error:
        raise CannotExport(
            f"this needs {error.name or modules[0]}: "
            f"pip install 'bankwise[{extra}]' brings it"
        ) from None
