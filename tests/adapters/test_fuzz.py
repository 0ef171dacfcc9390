"""Damaged answers, from the bytes to the columns: never an exception, never a lie.

Answers are damaged in the ways that links and buses do it. Unless a character inside a
value is replaced, every value that still comes out is one that the car really sent.
"""

from __future__ import annotations

import gzip
import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bankwise.adapters.adapter import Asked
from bankwise.adapters.batching import Batching
from bankwise.adapters.decode import Decoder
from bankwise.adapters.dialogue import Dialogue, Reply
from bankwise.adapters.errors import SessionError
from bankwise.adapters.frames import answers
from bankwise.adapters.records import AdapterInfo, Exchange, Header
from bankwise.adapters.session_file import read_session
from bankwise.signals.columns import Columns

PIDS = {0x0C: "1AF8", 0x06: "78", 0x07: "83", 0x14: "5A80", 0x18: "1490", 0x10: "0384"}
REQUEST = "010C06071418103"
PROTOCOLS = {"6": "7E8", "7": "18DAF110"}
VALUES = {
    "rpm": 1726.0, "stft_b1_pct": -6.25, "ltft_b1_pct": 2.34375, "maf_gps": 9.0,
    "o2_b1s1_v": 0.45, "o2_b1s1_trim_pct": 0.0, "o2_b2s1_v": 0.1,
    "o2_b2s1_trim_pct": 12.5,
}  # fmt: skip


def frames(protocol: str) -> list[str]:
    """The answer to `REQUEST` as the adapter prints it, a frame a line."""
    header = PROTOCOLS[protocol]
    data = "41" + "".join(f"{pid:02X}{value}" for pid, value in PIDS.items())
    lines = [f"{header}10{len(data) // 2:02X}{data[:12]}"]
    rest = data[12:]
    for number in range(1, 9):
        if not rest:
            break
        lines.append(f"{header}2{number}{rest[:14]:0<14}")
        rest = rest[14:]
    return lines


def reply_to(request: str, data: bytes) -> Reply:
    """What the dialogue makes of bytes, with or without a prompt."""
    dialogue = Dialogue()
    dialogue.begin(request)
    reply = dialogue.feed(data)
    return reply if reply is not None else dialogue.give_up()


def columns_of(protocol: str, *parts: tuple[str, bytes]) -> Columns:
    """What the decoder makes of exchanges in a row."""
    header = Header("id", "2026-01-01T00:00:00Z", "test", AdapterInfo("a", protocol))
    decoder = Decoder(header)
    records = []
    for at, (request, data) in enumerate(parts):
        reply = reply_to(request, data)
        exchange = Exchange(float(at), request, reply.lines, 0.02, reply.word)
        answers(exchange, protocol)
        units = {"7E8": frozenset(PIDS), "18DAF110": frozenset(PIDS)}
        batching = Batching(units, protocol, can=True)
        batching.judge(tuple(PIDS), Asked(exchange, reply), float(at))
        records.append(exchange)
    decoder.feed(records)
    return decoder.columns


@pytest.mark.parametrize("protocol", sorted(PROTOCOLS))
def test_undamaged_answer_gives_the_values(protocol: str) -> None:
    """The answer that is damaged below is right to begin with."""
    data = "\r".join(frames(protocol)).encode() + b"\r\r>"
    columns = columns_of(protocol, (REQUEST, data))
    assert {n: float(c.v[0]) for n, c in columns.measured.items()} == pytest.approx(
        VALUES
    )


def test_cut_frame_in_the_middle_is_noticed() -> None:
    """The filler of the last frame does not make up for characters lost before it."""
    whole = frames("6")
    assert whole[2].endswith("0000")
    for keep in range(5, len(whole[1])):
        lines = [whole[0], whole[1][:keep], whole[2]]
        columns = columns_of("6", (REQUEST, "\r".join(lines).encode() + b"\r\r>"))
        assert not columns.measured


def damaged(draw: st.DrawFn, lines: list[str]) -> bytes:
    """The lines after a few accidents that replace no character inside a value."""
    lines = list(lines)
    for _ in range(draw(st.integers(1, 4))):
        if not lines:
            break
        at = draw(st.integers(0, len(lines) - 1))
        what = draw(st.sampled_from(range(9)))
        if what == 0:
            del lines[at]
        elif what == 1:
            lines.insert(at, lines[at])
        elif what == 2:
            lines[at] = lines[at][: draw(st.integers(0, len(lines[at])))]
        elif what == 3:
            other = draw(st.integers(0, len(lines) - 1))
            lines[at], lines[other] = lines[other], lines[at]
        elif what == 4:
            lines.insert(at, draw(st.sampled_from(_INTRUDERS)))
        elif what == 5:
            cut = draw(st.integers(0, len(lines[at])))
            lines[at] = lines[at][:cut] + "\x00" * 3 + lines[at][cut:]
        elif what == 6:
            lines[at] += draw(st.sampled_from([" <DATA ERROR", " <RX ERROR"]))
        elif what == 7:
            lines[at] = "7EB" + lines[at][3:] if lines[at][:3] == "7E8" else "123ABC"
        elif what == 8:
            lines.insert(at, draw(st.text("0123456789ABCDEF ", max_size=400)))
    end = draw(st.sampled_from(["\r\r>", "\r", "", "\r>\r>", "\r\n\r\n>"]))
    return ("\r".join(lines) + end).encode("latin-1")


_INTRUDERS = (
    "NO DATA", "SEARCHING...", "ACT ALERT", "STOPPED", "?", "OK", "BUFFER FULL", "ELM",
    "7E8037F0122", "7E8037F0178", "7E903410D00", "7E8300000", "7E80", "18DAF110",
    "7E806410055AA55AA", "7E8064200055AA55A", "486B10410C1AF8C9", "41 0C 1A F8",
)  # fmt: skip


@settings(max_examples=500, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data(), st.sampled_from(sorted(PROTOCOLS)))
def test_damage_never_becomes_a_value(data: st.DataObject, protocol: str) -> None:
    """Lost, doubled, cut, swapped and foreign frames give right values or none."""
    harmed = data.draw(st.composite(damaged)(frames(protocol)))
    good = "\r".join(frames(protocol)).encode() + b"\r\r>"
    columns = columns_of(protocol, (REQUEST, good), (REQUEST, harmed), (REQUEST, good))
    for name, column in columns.measured.items():
        assert name in VALUES
        assert np.allclose(column.v, VALUES[name]), name


@settings(max_examples=400, deadline=None)
@given(
    st.binary(max_size=600),
    st.sampled_from([REQUEST, "0100", "03", "0902", "ATRV", "22F40CF40D3", "0104"]),
    st.sampled_from(["6", "7", "1", "2", "3", "5", "", "A", "x"]),
)
def test_any_bytes_are_survived(data: bytes, request: str, protocol: str) -> None:
    """Whatever bytes come, everything from dialogue to columns takes them."""
    columns = columns_of(protocol, (request, data), (request, data + b"\r\r>"))
    for column in columns.measured.values():
        assert np.isfinite(column.v).all()


@settings(max_examples=600, deadline=None)
@given(st.data())
def test_flipped_bits_are_survived(data: st.DataObject) -> None:
    """Bit flips anywhere give finite values or none, and no exception."""
    raw = bytearray("\r".join(frames("6")).encode() + b"\r\r>")
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(raw) - 1))
        raw[at] ^= 1 << data.draw(st.integers(0, 7))
    columns = columns_of("6", (REQUEST, bytes(raw)))
    for column in columns.measured.values():
        assert np.isfinite(column.v).all()


@settings(
    max_examples=400, deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)  # fmt: skip
@given(st.data())
def test_damaged_session_files_are_read_or_refused(
    tmp_path: Path, data: st.DataObject
) -> None:
    """A damaged file gives its whole records or one error of ours."""
    lines = [
        {"k": "session", "format": 1, "id": "x", "started": "y", "tool": "z",
         "adapter": {"name": "a", "protocol": "6"}, "vehicle": {}},
        {"k": "x", "t": 1.0, "q": REQUEST, "a": frames("6"), "d": 0.02},
        {"k": "link", "t": 2.0, "state": "lost"},
        {"k": "later", "t": 2.5, "new": [1, 2]},
        {"k": "x", "t": 3.0, "q": "0100", "a": [], "d": 0.2, "e": "NO DATA"},
        {"k": "end", "t": 4.0},
    ]  # fmt: skip
    raw = bytearray("".join(json.dumps(line) + "\n" for line in lines).encode())
    for _ in range(data.draw(st.integers(0, 4))):
        at = data.draw(st.integers(0, len(raw) - 1))
        if data.draw(st.booleans()):
            raw[at] = data.draw(st.integers(0, 255))
        else:
            del raw[at : at + data.draw(st.integers(0, 60))]
            raw = raw or bytearray(b"\n")
    packed = data.draw(st.booleans())
    path = tmp_path / ("s.jsonl.gz" if packed else "s.jsonl")
    path.write_bytes(gzip.compress(bytes(raw)) if packed else bytes(raw))
    try:
        session = read_session(path)
    except SessionError:
        return
    Decoder(session.header).feed(session.records)
