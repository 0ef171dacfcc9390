"""The session file: what is written reads back, and what is odd is said."""

from __future__ import annotations

import errno
import gzip
import json
import os
import random
import signal
import subprocess
import sys
import time
import zlib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bankwise.adapters.errors import SessionError
from bankwise.adapters.packed import pack, unpack
from bankwise.adapters.records import (
    AdapterInfo,
    CodesRecord,
    EndRecord,
    Exchange,
    Header,
    LinkRecord,
    MarkRecord,
    Other,
    Record,
    SealRecord,
)
from bankwise.adapters.session_file import (
    SessionTail,
    SessionWriter,
    parse_session,
    read_session,
)

HEADER = Header(
    id="6c1f6ae2-5b2c-4e39-9a53-5a3e4b1f7d10",
    started="2031-04-05T06:07:08Z",
    tool="bankwise 0.1.0",
    adapter=AdapterInfo("invented adapter", "6"),
    vehicle={"vin": "1M8GDM9AXKP042788", "displacement_l": 3.2},
)

EXCHANGE = Exchange(1.25, "010C", ("7E804410C0C1C",), 0.0213)

HEAD_LINE = (
    '{"k":"session","format":1,"id":"i","started":"2031-01-01T00:00:00Z",'
    '"tool":"another","adapter":{"name":"n","protocol":"6"},"vehicle":{}}\n'
)


def written(tmp_path: Path, *records: Record) -> Path:
    """A closed session file of these records."""
    path = tmp_path / "drive.jsonl"
    writer = SessionWriter(path, HEADER)
    for record in records:
        writer.write(record)
    writer.close()
    assert writer.error is None
    return path


def kept(records: list[Record]) -> list[Record]:
    """The records without what the writer adds."""
    return [r for r in records if not isinstance(r, SealRecord | EndRecord)]


def test_records_read_back_as_written(tmp_path: Path) -> None:
    """Every kind of record comes back equal, in order."""
    records: list[Record] = [
        LinkRecord(0.0, "up"),
        EXCHANGE,
        MarkRecord(1.5, "smoke at the tail pipe – blue"),
        CodesRecord(2.0, "stored", ("P0171",)),
        LinkRecord(3.0, "lost", "no answer"),
    ]
    session = read_session(written(tmp_path, *records))
    assert kept(session.records) == records
    assert session.header.vehicle == HEADER.vehicle
    assert session.dropped_lines == 0
    assert session.warnings == ()


times = st.floats(0, 4000, allow_nan=False).map(lambda t: round(t, 4))
texts = st.text(st.characters(codec="utf-8"), max_size=20)
any_record = st.one_of(
    st.builds(
        Exchange,
        times,
        st.sampled_from(["010C", "0106070809140C2", "ATRV"]),
        st.lists(texts, max_size=3).map(tuple),
        st.floats(0, 5).map(lambda d: round(d, 4)),
        st.none() | texts,
    ),
    st.builds(MarkRecord, times, texts, st.none() | texts),
    st.builds(LinkRecord, times, st.sampled_from(["up", "lost", "back"])),
    st.builds(CodesRecord, times, texts, st.lists(texts, max_size=3).map(tuple)),
)


@settings(max_examples=60, deadline=None)
@given(records=st.lists(any_record, max_size=30))
def test_any_records_read_back(
    tmp_path_factory: pytest.TempPathFactory, records: list[Record]
) -> None:
    """Whatever the texts hold, records in time order come back unchanged."""
    records.sort(key=lambda record: record.t)
    path = written(tmp_path_factory.mktemp("any"), *records)
    assert kept(read_session(path).records) == records


@settings(max_examples=60, deadline=None)
@given(data=st.binary(max_size=400))
def test_junk_after_the_header_never_raises(data: bytes) -> None:
    """Any bytes after a header give a session, with what is no record counted."""
    good = b'{"k":"mark","t":0,"text":"here"}\n'
    session = parse_session(HEAD_LINE.encode() + data + b"\n" + good, "junk")
    assert isinstance(session.records[-1], MarkRecord)


def test_times_are_kept_to_a_tenth_of_a_millisecond(tmp_path: Path) -> None:
    """Longer numbers are rounded when written, and never decrease."""
    path = written(
        tmp_path,
        Exchange(1.00004999, "010C", (), 0.0123456),
        MarkRecord(0.5, "late"),
    )
    lines = [json.loads(line) for line in path.read_text("utf-8").splitlines()]
    assert (lines[1]["t"], lines[1]["d"], lines[2]["t"]) == (1.0, 0.0123, 1.0)


def test_an_existing_file_is_never_touched(tmp_path: Path) -> None:
    """Recording into a file that exists is refused and says so."""
    path = written(tmp_path, EXCHANGE)
    before = path.read_bytes()
    writer = SessionWriter(path, HEADER)
    assert writer.error == os.strerror(errno.EEXIST)
    writer.write(EXCHANGE)
    writer.close()
    assert path.read_bytes() == before


def test_every_record_is_in_the_file_at_once(tmp_path: Path) -> None:
    """A record can be read by someone else as soon as `write` returns."""
    path = tmp_path / "drive.jsonl"
    writer = SessionWriter(path, HEADER)
    writer.write(EXCHANGE)
    assert read_session(path).records == [EXCHANGE]
    assert writer.size == path.stat().st_size
    writer.abandon()


def test_no_write_touches_earlier_bytes(tmp_path: Path) -> None:
    """After every record, seal and end, what was in the file begins the file."""
    path = tmp_path / "drive.jsonl"
    writer = SessionWriter(path, HEADER)
    before = path.read_bytes()
    for i in range(60):
        writer.write(MarkRecord(i * 1.7, f"remark {i}"))
        now = path.read_bytes()
        assert now.startswith(before)
        assert len(now) > len(before)
        before = now
    writer.close()
    assert path.read_bytes().startswith(before)


def test_the_header_writes_all_its_keys(tmp_path: Path) -> None:
    """Format and vehicle stand in the first line even at their usual values."""
    path = tmp_path / "drive.jsonl"
    SessionWriter(path, Header("i", "s", "t", AdapterInfo())).close()
    first = json.loads(path.read_text("utf-8").splitlines()[0])
    assert first["k"] == "session"
    assert first["format"] == 1
    assert first["vehicle"] == {}
    assert first["adapter"] == {"name": "", "protocol": ""}


def test_a_half_written_last_line_is_dropped(tmp_path: Path) -> None:
    """Cut inside the last record, everything before it counts."""
    path = tmp_path / "drive.jsonl"
    writer = SessionWriter(path, HEADER)
    writer.write(EXCHANGE)
    writer.write(MarkRecord(2.0, "gone"))
    writer.abandon()
    data = path.read_bytes()
    whole = data.rindex(b'{"k":"mark"')
    for cut in range(whole + 1, len(data) - 1):
        session = parse_session(data[:cut], "cut")
        assert session.records == [EXCHANGE]
        assert session.dropped_lines == 1
        assert "half" in session.warnings[0]
    assert len(parse_session(data[:-1], "cut").records) == 2


def test_zeros_left_by_a_power_cut_are_a_half_line() -> None:
    """A tail of zero bytes costs nothing but itself."""
    line = b'{"k":"mark","t":1,"text":"a"}\n'
    session = parse_session(HEAD_LINE.encode() + line + bytes(512), "cut")
    assert session.records == [MarkRecord(1.0, "a")]
    assert session.dropped_lines == 1


def test_broken_lines_in_the_middle_are_counted() -> None:
    """Lines that are no records are counted and cost nothing else."""
    body = (
        '{"k":"mark","t":1,"text":"a"}\n'
        "}{\n[1,2]\n42\n"
        '{"k":"mark","t":1}\n'
        '{"t":1}\n'
        '{"k":"x","t":"soon","q":"010C","a":[],"d":0}\n'
        '{"k":"mark","t":2,"text":"b"}\n'
    )
    session = parse_session((HEAD_LINE + body).encode() + b"\xff\xfe\n", "odd")
    assert session.records == [MarkRecord(1.0, "a"), MarkRecord(2.0, "b")]
    assert session.dropped_lines == 7
    assert session.warnings == ("7 lines are no records and were skipped",)


def test_unknown_kinds_are_kept_and_unknown_keys_skipped(tmp_path: Path) -> None:
    """A later 1.x file reads: strange kinds stay, strange keys do not disturb."""
    line = '{"k":"weather","t":1.5,"rain":true}'
    body = f'{line}\n{{"k":"mark","t":2,"text":"a","colour":"red"}}\n'
    session = parse_session((HEAD_LINE + body).encode(), "later")
    assert session.records == [Other(1.5, line.encode()), MarkRecord(2.0, "a")]
    assert session.dropped_lines == 0
    path = written(tmp_path, *session.records)
    assert line in path.read_text("utf-8")


def test_form_may_vary() -> None:
    """A byte-order mark, CRLF, blank lines, whole-number times and absent parts."""
    body = (
        '{"k": "x", "t": 1, "q": "010C", "e": "NO DATA"}\n\n'
        '{"q": "010D", "k": "x", "d": 1, "t": 2, "a": null}\n'
    )
    data = b"\xef\xbb\xbf" + (HEAD_LINE + body).replace("\n", "\r\n").encode()
    session = parse_session(data, "form")
    assert session.records == [
        Exchange(1.0, "010C", (), 0.0, "NO DATA"),
        Exchange(2.0, "010D", (), 1.0),
    ]
    assert session.dropped_lines == 0


def test_a_poor_header_reads_with_a_warning() -> None:
    """A header without its optional parts is read, and what it lacks is said."""
    session = parse_session(b'{"k":"session"}\n', "poor")
    assert session.header.adapter == AdapterInfo()
    assert session.warnings == ("the header lacks format, id, started, tool, adapter",)


def test_time_that_steps_back_a_little_is_held() -> None:
    """Jitter is held at the moment before it."""
    body = "".join(f'{{"k":"mark","t":{t},"text":""}}\n' for t in (5, 4.5, 6))
    session = parse_session((HEAD_LINE + body).encode(), "jitter")
    assert [record.t for record in session.records] == [5, 5, 6]
    assert "a little once" in session.warnings[0]


def test_a_clock_that_begins_anew_goes_on() -> None:
    """After a restart of the clock, what follows is moved on, intervals kept."""
    body = "".join(f'{{"k":"mark","t":{t},"text":""}}\n' for t in (50, 60, 1, 3))
    session = parse_session((HEAD_LINE + body).encode(), "restart")
    assert [record.t for record in session.records] == [50, 60, 60, 62]
    assert "began anew" in session.warnings[0]


def test_a_leap_of_the_clock_costs_only_the_leap() -> None:
    """One record with a wild time stands at the moment before it, and so on from there.

    Without this a single wrong digit would make a drive of a thousand years.
    """
    for wild in ("1e12", "1e300", "-1e12"):
        times = ("1", "2", wild, "3", "4")
        body = "".join(f'{{"k":"mark","t":{t},"text":""}}\n' for t in times)
        session = parse_session((HEAD_LINE + body).encode(), "leap")
        assert [record.t for record in session.records][:3] == [1, 2, 2]
        assert session.records[-1].t in {3, 4}
        assert "leaps" in session.warnings[0]


def test_a_clock_that_does_not_begin_at_zero_is_moved() -> None:
    """Times counted from another moment keep their intervals."""
    body = "".join(f'{{"k":"mark","t":{t},"text":""}}\n' for t in (9e6, 9e6 + 2))
    session = parse_session((HEAD_LINE + body).encode(), "far")
    assert [record.t for record in session.records] == [0, 2]


def test_a_second_header_and_records_without_time_disturb_nothing() -> None:
    """They are kept at the moment before them; time goes on as it was."""
    mark = '{"k":"mark","t":50,"text":""}\n'
    body = mark + HEAD_LINE + '{"k":"later","what":1}\n' + mark.replace("50", "51")
    session = parse_session((HEAD_LINE + body).encode(), "twice")
    assert [record.t for record in session.records] == [50, 50, 50, 51]
    (told,) = session.warnings
    assert told.startswith("another session begins within the file")


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"", "is empty"),
        (b"\n\n", "is empty"),
        (b"t_s,signal,value\n1,rpm,800\n", "is not a session file"),
        (b'{"k":"x","t":0}\n', "no session header"),
        (b"[" * 100_000, "is not a session file"),
        (b'{"k":"session","format":2}\n', "is of session format 2"),
        (b'{"k":"session","format":null}\n', "format None"),
        (bytes(range(256)) * 20, "is not a session file"),
        # A packed file keeps its time, and a test's name must not change by it.
        (gzip.compress(b"", mtime=0), "is empty"),
        (gzip.compress(b"notes\n", mtime=0), "is not a session file"),
    ],
)
def test_other_files_give_one_plain_line(
    tmp_path: Path, data: bytes, word: str
) -> None:
    """What is no session is refused in one line that names the file."""
    path = tmp_path / "thing"
    path.write_bytes(data)
    with pytest.raises(SessionError) as caught:
        read_session(path)
    text = str(caught.value)
    assert word in text
    assert "thing" in text
    assert "\n" not in text


def test_missing_files_and_folders_give_one_plain_line(tmp_path: Path) -> None:
    """A path that leads nowhere, or to a folder, says so."""
    with pytest.raises(SessionError, match="no such file"):
        read_session(tmp_path / "none")
    with pytest.raises(SessionError, match="is a folder"):
        read_session(tmp_path)


def test_packed_sessions_read_and_packing_loses_nothing(tmp_path: Path) -> None:
    """A packed file reads like the plain one, which is gone afterwards."""
    path = written(tmp_path, EXCHANGE)
    data = path.read_bytes()
    plain = read_session(path)
    packed = pack(path)
    assert not path.exists()
    assert packed.name == "drive.jsonl.gz"
    assert unpack(packed.read_bytes()) == (data, "")
    assert read_session(packed) == plain


def test_a_packed_file_cut_short_gives_what_is_left(tmp_path: Path) -> None:
    """Half a packed file still gives its first records and a warning."""
    noise = random.Random(4)
    marks = [MarkRecord(float(i), str(noise.random())) for i in range(3000)]
    path = pack(written(tmp_path, *marks))
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    session = read_session(path)
    assert 500 < len(session.records) < 3000
    assert session.warnings[0] == "the packed file is cut short"
    damaged = bytearray(data)
    damaged[len(data) // 2] ^= 0xFF
    path.write_bytes(damaged)
    assert read_session(path).warnings[0].startswith("the packed file is")


def test_two_sessions_in_one_file_are_said(tmp_path: Path) -> None:
    """The first header counts, and the person is told so."""
    path = written(tmp_path, EXCHANGE)
    assert read_session(path).warnings == ()
    path.write_bytes(path.read_bytes() * 2)
    session = read_session(path)
    assert session.warnings[0].startswith("another session begins within the file")
    assert len(session.records) > 2


def test_damage_to_a_packed_file_costs_nothing_before_it() -> None:
    """A wrong checksum at the end leaves every byte; others all that comes before."""
    data = "".join(f"{i} {i * i}\n" for i in range(20_000)).encode()
    packed = gzip.compress(data, mtime=0)
    assert unpack(packed[:-8] + bytes(8)) == (data, "the packed file is damaged")
    whole = zlib.decompressobj(31)
    half = len(packed) // 2
    before = len(whole.decompress(packed[:half]))
    harmed = packed[:half] + bytes(200) + packed[half + 200 :]
    got, _ = unpack(harmed)
    assert len(got) >= before
    assert got[:before] == data[:before]


def test_a_tail_gives_each_record_once(tmp_path: Path) -> None:
    """Followed byte by byte, a growing file gives every record once, in order."""
    path = tmp_path / "grows.jsonl"
    body = "".join(f'{{"k":"mark","t":{i},"text":"ä"}}\n' for i in range(20))
    data = (HEAD_LINE + body).encode()
    path.touch()
    tail = SessionTail(path)
    seen: list[Record] = []
    for i in range(0, len(data), 7):
        with path.open("ab") as file:
            file.write(data[i : i + 7])
        seen += tail.read()
    assert seen == [MarkRecord(float(i), "ä") for i in range(20)]
    assert tail.read() == []
    assert tail.header is not None


def test_a_full_disk_ends_the_recording_not_the_drive(tmp_path: Path) -> None:
    """On a device that is always full, writing goes on without an exception."""
    full = tmp_path / "full.jsonl"
    full.symlink_to("/dev/full")
    if not Path("/dev/full").exists():
        pytest.skip("this system has no /dev/full")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "O_EXCL", 0)
        writer = SessionWriter(full, HEADER)
    for i in range(3):
        writer.write(MarkRecord(float(i), "on"))
    writer.close()
    assert writer.error == os.strerror(errno.ENOSPC)
    assert writer.size == 0


def test_a_size_limit_met_mid_record_leaves_a_readable_file(tmp_path: Path) -> None:
    """When space runs out inside a record, all before it reads."""
    script = """
import resource, signal, sys
from pathlib import Path
from bankwise.adapters.records import Header, AdapterInfo, MarkRecord
from bankwise.adapters.session_file import SessionWriter
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000))
writer = SessionWriter(Path(sys.argv[1]), Header("i", "s", "t", AdapterInfo()))
count = 0
for i in range(100):
    writer.write(MarkRecord(float(i), "text of some length"))
    count += writer.error is None
writer.close()
print(count, writer.error)
"""
    path = tmp_path / "small.jsonl"
    command = [sys.executable, "-c", script, str(path)]
    out = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    count, _, error = out.partition(" ")
    assert error.strip() == os.strerror(errno.EFBIG)
    assert path.stat().st_size == 2000
    session = read_session(path)
    assert len(kept(session.records)) == int(count)
    assert session.dropped_lines == 1


_RECORDER = """
import sys
from pathlib import Path
from bankwise.adapters.records import Header, AdapterInfo, MarkRecord
from bankwise.adapters.session_file import SessionWriter
writer = SessionWriter(Path(sys.argv[1]), Header("i", "s", "t", AdapterInfo()))
print("up", flush=True)
i = 0
while True:
    writer.write(MarkRecord(i * 0.5, f"record {i}"))
    i += 1
    sys.stdout.write(f"{i}\\n")
    sys.stdout.flush()
"""


def _kill_recorders(folder: Path, kills: int, seed: int) -> None:
    """Kills recorders at random moments and looks at what they leave."""
    moment = random.Random(seed)
    for number in range(kills):
        path = folder / f"{number}.jsonl"
        command = [sys.executable, "-c", _RECORDER, str(path)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
            assert process.stdout is not None
            assert process.stdout.readline() == "up\n"
            time.sleep(moment.uniform(0, 0.03))
            process.send_signal(signal.SIGKILL)
            told = [line for line in process.stdout.read().split("\n")[:-1] if line]
        session = read_session(path)
        texts = [r.text for r in session.records if isinstance(r, MarkRecord)]
        assert texts == [f"record {i}" for i in range(len(texts))]
        assert len(texts) >= len(told)
        assert session.dropped_lines <= 1


def test_a_killed_recorder_loses_nothing_it_wrote(tmp_path: Path) -> None:
    """Killed at a random moment, all records it had finished are in the file."""
    _kill_recorders(tmp_path, 5, 1)


@pytest.mark.long
def test_hundreds_of_killed_recorders_lose_nothing(tmp_path: Path) -> None:
    """The same, three hundred times."""
    _kill_recorders(tmp_path, 300, 2)


def test_a_file_that_vanishes_does_not_stop_the_drive(tmp_path: Path) -> None:
    """A descriptor that went bad under the writer becomes words, not an exception."""
    writer = SessionWriter(tmp_path / "drive.jsonl", HEADER)
    descriptor = writer._fd
    assert descriptor is not None
    os.close(descriptor)
    writer.write(EXCHANGE)
    writer.write(EXCHANGE)
    assert writer.error == os.strerror(errno.EBADF)
