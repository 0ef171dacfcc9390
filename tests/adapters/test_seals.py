"""Seals: a change to any byte of a sealed session is found."""

from __future__ import annotations

import hashlib
import itertools
import json
from pathlib import Path

import pytest

from bankwise.adapters.errors import SessionError
from bankwise.adapters.packed import pack
from bankwise.adapters.records import AdapterInfo, Exchange, Header, MarkRecord
from bankwise.adapters.seals import State, verify, verify_bytes
from bankwise.adapters.session_file import SessionWriter

HEADER = Header("i", "2031-01-01T00:00:00Z", "bankwise 0.1.0", AdapterInfo("n", "6"))


def session(path: Path, step_s: float = 4.0, count: int = 8) -> bytes:
    """A small sealed session, its bytes."""
    writer = SessionWriter(path, HEADER)
    for i in range(count):
        writer.write(Exchange(i * step_s, "010C", ("7E804410C0C1C",), 0.02))
    writer.close()
    return path.read_bytes()


def test_a_session_in_good_order_is_whole(tmp_path: Path) -> None:
    """A closed session, plain or packed, is whole and names its last seal."""
    path = tmp_path / "a.jsonl"
    data = session(path)
    verdict = verify(path)
    assert verdict.state is State.WHOLE
    assert verdict.first_line is None
    assert verdict.last_seal in data.splitlines()[-1].decode()
    assert verify(pack(path)) == verdict


def test_seals_are_never_more_than_ten_seconds_apart(tmp_path: Path) -> None:
    """Between two seals lie at most ten seconds of records."""
    data = session(tmp_path / "a.jsonl", step_s=0.7, count=100)
    records = [json.loads(line) for line in data.splitlines()]
    moments = [0.0] + [r["t"] for r in records if r["k"] == "seal"]
    assert max(b - a for a, b in itertools.pairwise(moments)) <= 10
    assert records[-1]["k"] == "seal"
    assert records[-2]["k"] == "end"


def test_the_seal_is_the_hash_the_format_names(tmp_path: Path) -> None:
    """Recomputed by hand: the digest before it, then the bytes since that seal."""
    digest, since = b"", b""
    seals = 0
    for line in session(tmp_path / "a.jsonl").splitlines(keepends=True):
        record = json.loads(line)
        if record["k"] != "seal":
            since += line
            continue
        digest = hashlib.sha256(digest + since).digest()
        since = b""
        seals += 1
        assert record["sha256"] == digest.hex()
        assert record["n"] == seals
    assert seals == 4


@pytest.mark.parametrize("mask", [0x01, 0x04, 0x20, 0x80, 0xFF])
@pytest.mark.parametrize("count", [1, 8])
def test_every_flipped_byte_is_found(tmp_path: Path, mask: int, count: int) -> None:
    """Whichever byte of a sealed session changes, it is not whole any more."""
    data = session(tmp_path / "a.jsonl", count=count)
    for i in range(len(data)):
        flipped = data[:i] + bytes((data[i] ^ mask,)) + data[i + 1 :]
        try:
            verdict = verify_bytes(flipped, "a")
        except SessionError:
            continue
        assert verdict.state is not State.WHOLE, i


def test_any_other_digit_is_found(tmp_path: Path) -> None:
    """A digit replaced by any other digit, in a record or in a seal, is found."""
    data = session(tmp_path / "a.jsonl", count=3)
    for i, byte in enumerate(data):
        if chr(byte).isdigit():
            for digit in b"0123456789":
                if digit != byte:
                    flipped = data[:i] + bytes((digit,)) + data[i + 1 :]
                    assert verify_bytes(flipped, "a").state is not State.WHOLE, i


def test_an_alteration_is_located_between_two_seals(tmp_path: Path) -> None:
    """The lines named hold the line that was changed; earlier seals still count."""
    lines = session(tmp_path / "a.jsonl").splitlines(keepends=True)
    seals = [i for i, line in enumerate(lines, 1) if b'"seal"' in line]
    changed = seals[0] + 1
    lines[changed - 1] = lines[changed - 1].replace(b"0C1C", b"0C1D")
    verdict = verify_bytes(b"".join(lines), "a")
    assert verdict.state is State.ALTERED
    assert (verdict.first_line, verdict.last_line) == (changed, seals[1])
    assert f"altered at line {changed}" in verdict.text
    assert verdict.seals == 1


def test_removed_repeated_and_swapped_lines_are_found(tmp_path: Path) -> None:
    """Taking out, doubling or exchanging any lines is found."""
    lines = session(tmp_path / "a.jsonl", step_s=3.0).splitlines(keepends=True)
    for i in range(len(lines)):
        out = [*lines[:i], *lines[i + 1 :]]
        double = [*lines[: i + 1], *lines[i:]]
        for changed in (out, double):
            try:
                verdict = verify_bytes(b"".join(changed), "a")
            except SessionError:
                continue
            assert verdict.state is not State.WHOLE


def test_every_cut_is_found(tmp_path: Path) -> None:
    """Cut after any byte, a session is cut short, and never called altered."""
    data = session(tmp_path / "a.jsonl")
    for cut in range(1, len(data)):
        try:
            verdict = verify_bytes(data[:cut], "a")
        except SessionError:
            assert cut < data.index(b"\n")
            continue
        assert verdict.state in {State.CUT_SHORT, State.UNSEALED}
        if verdict.state is State.CUT_SHORT:
            lines = data[:cut].count(b"\n")
            assert verdict.last_line in {lines, lines + 1}
            assert f"line {verdict.last_line}" in verdict.text


def test_without_seals_nothing_can_be_said(tmp_path: Path) -> None:
    """A file nobody sealed is neither whole nor altered."""
    path = tmp_path / "a.jsonl"
    writer = SessionWriter(path, HEADER)
    writer.write(MarkRecord(1.0, "a"))
    writer.abandon()
    assert verify(path).state is State.UNSEALED


@pytest.mark.parametrize("hexadecimal", [False, True])
@pytest.mark.parametrize("inclusive", [False, True])
def test_seals_of_other_writers_hold(hexadecimal: bool, inclusive: bool) -> None:
    """Other plain readings of the format's sentence verify, and break when altered."""
    head = {"k": "session", "format": 1, "id": "i", "started": "s", "tool": "t"}
    head["adapter"] = {"name": "n", "protocol": "6"}
    out, since, digest = b"", b"", b""
    for i in range(4):
        block = json.dumps(head if i == 0 else {"k": "mark", "t": i, "text": "a"})
        since += block.encode() + b"\n"
        out += block.encode() + b"\n"
        if i == 3:
            out += b'{"k": "end", "t": 3}\n'
            since += b'{"k": "end", "t": 3}\n'
        before = digest.hex().encode() if hexadecimal else digest
        digest = hashlib.sha256(before + since).digest()
        seal = {"k": "seal", "t": i + 0.25, "n": 7 * i, "sha256": digest.hex()}
        line = json.dumps(seal).encode() + b"\n"
        out += line
        since = line if inclusive else b""
    assert verify_bytes(out, "a").state is State.WHOLE
    assert verify_bytes(out.replace(b'"a"', b'"b"'), "a").state is State.ALTERED
