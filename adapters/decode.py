"""Records into columns: exchanges of one shape together, odd ones frame by frame.

A value is taken only when service, PID and length of the answer match the request and
the answer holds all that was asked and the unit claims. Both ways of reading give the
same columns, and so does any way of cutting a session into pieces: rows are placed in
file order, and whatever changes the meaning of later rows (a support bitmap, a unit
that answers for the first time) takes effect at its own place in the file.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from bankwise.adapters.control_units import VOLTAGE, ControlUnits
from bankwise.adapters.definition_file import of_header
from bankwise.adapters.full_scales import Factors, factor, factors
from bankwise.adapters.one_answer import OneAnswer, one_answer
from bankwise.adapters.pids import PIDS, decode
from bankwise.adapters.records import (
    CodesRecord,
    Exchange,
    Header,
    LinkRecord,
    MarkRecord,
    Record,
)
from bankwise.adapters.shape_groups import Group, Grouper, Indices
from bankwise.adapters.shapes import Digits
from bankwise.signals.columns import (
    CodeRead,
    Columns,
    Floats,
    LinkChange,
    Mark,
    Vehicle,
)

_SAME_READ_S = 10.0
"""A `codes` record this close to its exchange says the same once more.

Unit: seconds. Source: our choice, because a code read takes a second or two.
"""

LONGEST_S = 60.0
"""An exchange said to last longer counts as this long.

Unit: seconds. Source: our choice, because adapters give up long before.
"""


@dataclass(slots=True)
class _Answers:
    """Data bytes of one PID by row; each table has shape (n, length)."""

    rows: list[Indices] = field(default_factory=list)
    tables: list[Digits] = field(default_factory=list)

    def add(self, rows: Indices, table: Digits) -> None:
        self.rows.append(rows)
        self.tables.append(table)


@dataclass(slots=True)
class _Samples:
    """Samples of one signal by row, before they are put in file order."""

    rows: list[Indices] = field(default_factory=list)
    values: list[Floats] = field(default_factory=list)


def vehicle_of(header: Header) -> Vehicle:
    """What a session's header says of the car."""
    told = header.vehicle
    litres = told.get("displacement_l")
    if not isinstance(litres, int | float) or not 0 < litres < 20:
        litres = None
    return Vehicle(
        _words(told.get("vin")),
        _words(told.get("note")),
        None if litres is None else float(litres),
    )


def absent_of(header: Header) -> frozenset[str]:
    """Signals whose bytes are mere filler: an import had no values for them."""
    told = header.vehicle.get("absent")
    return frozenset(map(str, told)) if isinstance(told, list | tuple) else frozenset()


def _words(value: Any) -> str | None:
    return value if isinstance(value, str) and value else None


def _nothing(_t: float) -> None:
    return None


class Decoder:
    """Turns records into columns as they come.

    Args:
        header: of the session; names the protocol and the car.
        before_change: called with a record's time before it changes what the
            columns say of the car (`supported`, `vehicle`); everything earlier is
            in the columns by then.
    """

    def __init__(
        self, header: Header, before_change: Callable[[float], None] = _nothing
    ) -> None:
        self.columns = Columns(vehicle=vehicle_of(header))
        self.units = ControlUnits()
        """What is known of the control units."""
        self.rejects: Counter[str] = Counter()
        """Answers that gave no value, counted by why."""
        self._protocol = header.adapter.protocol
        self._maker = of_header(header.vehicle)
        self._scales: dict[str, Factors] = {}
        self._absent = absent_of(header)
        self._before_change = before_change
        self._grouper = Grouper(self._protocol)
        self._told: list[tuple[int, OneAnswer]] = []
        self._t = self._d = np.empty(0)

    @property
    def exchanges(self) -> int:
        """Exchanges seen."""
        return self._grouper.exchanges

    def feed(self, records: Sequence[Record]) -> None:
        """Decodes more records; the result does not depend on how they are cut."""
        if not records:
            return
        self._when(records)
        start = 0
        odd, groups = self._grouper.sort_out(records)
        for row in odd:
            record = records[row]
            if not isinstance(record, Exchange):
                self._event(record)
                continue
            told = self._checked(one_answer(record, self._protocol, self._maker))
            units = self._taught(told)
            scales = self._rescaled(told)
            new_vin = told.vin and not self.columns.vehicle.vin
            if units is not None or new_vin or scales is not None:
                self._place(groups, start, row)
                start = row
                self._change(record.t, units, told.vin)
            self._scales = self._scales if scales is None else scales
            self._told.append((row, told))
            self._read_codes(record, told)
        self._place(groups, start, len(records))
        self.columns.end_s = max(self.columns.end_s, records[-1].t)

    def _when(self, records: Sequence[Record]) -> None:
        """Time and duration by row, as the values of that row carry them."""
        lasting = [r.d if type(r) is Exchange else 0.0 for r in records]
        self._d = np.clip(np.array(lasting), 0.0, LONGEST_S)
        self._t = np.array([r.t for r in records]) + self._d / 2

    def _checked(self, told: OneAnswer) -> OneAnswer:
        """The same without units that left out something they claim to have."""
        for unit in list(told.data):
            if not self.units.complete(unit, told.pids, told.data[unit]):
                del told.data[unit]
                told.rejects.append("incomplete")
        self.rejects.update(told.rejects)
        return told

    def _taught(self, told: OneAnswer) -> ControlUnits | None:
        """What is known of the units afterwards; None when nothing is new."""
        if not told.data and told.volts is None:
            return None
        units = self.units.copy()
        new = False
        for unit, data in told.data.items():
            new |= units.learn(unit, data)
        if told.volts is not None and not units.adapter_voltage:
            new = units.adapter_voltage = True
        return units if new else None

    def _rescaled(self, told: OneAnswer) -> dict[str, Factors] | None:
        """Full scales by unit afterwards; None when nothing changes."""
        scales = dict(self._scales)
        for unit, data in told.data.items():
            if new := factors(data):
                scales[unit] = {**scales.get(unit, {}), **new}
        return None if scales == self._scales else scales

    def _change(self, t: float, units: ControlUnits | None, vin: str) -> None:
        """Puts new knowledge to use, after telling that something changes."""
        vehicle = self.columns.vehicle
        if vin and not vehicle.vin:
            vehicle = replace(vehicle, vin=vin)
        if units is None:
            units = self.units
        supported = units.supported
        if supported is not None:
            supported -= self._absent
        if supported != self.columns.supported or vehicle is not self.columns.vehicle:
            self.columns.end_s = max(self.columns.end_s, t)
            self._before_change(t)
        self.units = units
        self.columns.supported = supported
        self.columns.vehicle = vehicle

    def _place(self, groups: Sequence[Group], start: int, stop: int) -> None:
        """Puts the samples of rows from `start` to before `stop` into the columns."""
        found: dict[str, _Samples] = {}
        told_pids: dict[int, _Answers] = {}
        unit = self.units.primary
        if unit is not None:
            for group in groups:
                self._grouped(group, unit, start, stop, told_pids)
        for row, told in self._told:
            where = np.array([row], dtype=np.intp)
            if unit is not None and unit in told.data:
                for pid, data in told.data[unit].items():
                    table = np.frombuffer(data, dtype=np.uint8)[None, :]
                    told_pids.setdefault(pid, _Answers()).add(where, table)
            values = dict(told.values)
            if told.volts is not None and not self._knows_voltage(unit):
                values["module_v"] = told.volts
            for name, value in values.items():
                samples = found.setdefault(name, _Samples())
                samples.rows.append(where)
                samples.values.append(np.array([value]))
        self._told = []
        if unit is not None:
            for pid in sorted(told_pids):
                self._decoded(unit, pid, told_pids[pid], found)
        for name, samples in found.items():
            self._append(name, samples)

    def _knows_voltage(self, unit: str | None) -> bool:
        return unit is not None and self.units.knows(unit, VOLTAGE)

    def _grouped(
        self,
        group: Group,
        unit: str,
        start: int,
        stop: int,
        told: dict[int, _Answers],
    ) -> None:
        if group.rows[0] >= stop or group.rows[-1] < start:
            return
        first, last = np.searchsorted(group.rows, (start, stop))
        pids = group.plan.data.get(unit)
        if first == last or pids is None:
            return
        if not self.units.complete(unit, group.request.pids, pids):
            self.rejects["incomplete"] += int(last - first)
            return
        rows, digits = group.rows[first:last], group.digits[first:last]
        for pid in pids:
            table = group.plan.bytes_of(unit, pid, digits)
            told.setdefault(pid, _Answers()).add(rows, table)

    def _decoded(
        self, unit: str, pid: int, told: _Answers, found: dict[str, _Samples]
    ) -> None:
        if not PIDS[pid].fields:
            return
        scales = self._scales.get(unit, {})
        rows, data = np.concatenate(told.rows), np.concatenate(told.tables)
        for name, values, exists in decode(pid, data, self.units.layout):
            if name in self._absent:
                continue
            samples = found.setdefault(name, _Samples())
            samples.rows.append(rows[exists])
            samples.values.append(values[exists] * factor(scales, pid, name))

    def _append(self, name: str, samples: _Samples) -> None:
        """Appends samples in file order; a time never goes back."""
        rows = np.concatenate(samples.rows)
        if not len(rows):
            return
        order = np.argsort(rows, kind="stable")
        rows = rows[order]
        t, d = self._t[rows], self._d[rows]
        column = self.columns[name]
        if len(column):
            t[0] = max(t[0], column.t[-1])
        t = np.maximum.accumulate(t)
        self.columns.extend(name, t, np.concatenate(samples.values)[order], d)

    def _event(self, record: Record) -> None:
        columns = self.columns
        if isinstance(record, MarkRecord):
            columns.marks.append(Mark(record.t, record.text, record.tag or ""))
        elif isinstance(record, LinkRecord):
            columns.link.append(LinkChange(record.t, record.state, record.why or ""))
        elif isinstance(record, CodesRecord):
            self._note_codes(CodeRead(record.t, record.when, record.codes))

    def _read_codes(self, record: Exchange, told: OneAnswer) -> None:
        if told.when:
            self._note_codes(CodeRead(record.middle, told.when, told.codes))

    def _note_codes(self, read: CodeRead) -> None:
        """Keeps a code read, unless it repeats the one just before it."""
        codes = self.columns.codes
        last = next((c for c in reversed(codes) if c.when == read.when), None)
        if (
            last is not None
            and read.t - last.t <= _SAME_READ_S
            and sorted(last.codes) == sorted(read.codes)
        ):
            return
        if codes:
            read = replace(read, t=max(read.t, codes[-1].t))
        codes.append(read)
