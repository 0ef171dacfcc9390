"""A disk that fills and a place that cannot be written: the drive goes on.

The disk is a real, small filesystem in memory. Mounting one takes root and a kernel
that lets it; where that is not so, the tests that need it are skipped with that reason.
"""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from bankwise.adapters.capture import capture
from bankwise.adapters.car.stories import STORIES
from bankwise.adapters.car.virtual import VirtualLink
from bankwise.adapters.car.wiring import plug_in
from bankwise.adapters.records import (
    AdapterInfo,
    Exchange,
    Header,
    MarkRecord,
    Record,
)
from bankwise.adapters.seals import State, verify
from bankwise.adapters.session_file import SessionWriter, read_session

HEADER = Header("i", "2031-01-01T00:00:00Z", "bankwise 0.1.0", AdapterInfo("n", "6"))
SIZE = 64 * 1024


def _mount(folder: Path, options: str) -> None:
    if os.name != "posix" or os.geteuid() != 0:
        pytest.skip("mounting a small filesystem takes root")
    folder.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip(f"mounting is not permitted here: {done.stderr.strip()}")


@pytest.fixture(name="small")
def _small(tmp_path: Path) -> Iterator[Path]:
    """A folder on a filesystem of 64 kB."""
    folder = tmp_path / "small"
    _mount(folder, f"size={SIZE}")
    yield folder
    subprocess.run(["umount", str(folder)], check=True)


@pytest.fixture(name="frozen")
def _frozen(tmp_path: Path) -> Iterator[Path]:
    """A folder on a filesystem that cannot be written."""
    folder = tmp_path / "frozen"
    _mount(folder, f"size={SIZE},ro")
    yield folder
    subprocess.run(["umount", str(folder)], check=True)


def test_a_disk_that_fills_ends_the_recording_and_not_the_drive(small: Path) -> None:
    """The poll cycle goes on to its end; the file holds all but the last record."""
    story = STORIES["healthy"]
    seen: list[Record] = []
    path = small / "drive.jsonl"
    link = VirtualLink(plug_in(story.car(), story.spec, seed=story.seed))
    capture(link, 40.0, path=path, emit=seen.append)
    assert seen[-1].t >= 40.0
    assert path.stat().st_size <= SIZE
    session = read_session(path)
    assert session.dropped_lines <= 1
    written = [r for r in session.records if isinstance(r, Exchange)]
    assert len(written) > 100
    polled = [r for r in seen if isinstance(r, Exchange)]
    told = [(r.q, r.a) for r in polled[: len(written)]]
    assert [(r.q, r.a) for r in written] == told
    assert session.records[-1].t < seen[-1].t
    assert verify(path).state is State.CUT_SHORT


def test_a_full_disk_is_told_and_earlier_bytes_stay(small: Path) -> None:
    """`error` says so; freed space does not make a hole in the middle of the file."""
    path, ballast = small / "drive.jsonl", small / "ballast"
    writer = SessionWriter(path, HEADER)
    ballast.write_bytes(bytes(SIZE - 16 * 1024))
    count = 0
    while writer.error is None:
        writer.write(MarkRecord(count * 0.1, "a remark of some length " * 4))
        count += 1
        assert count < 2000
    assert writer.error == os.strerror(errno.ENOSPC)
    stopped = path.read_bytes()
    ballast.unlink()
    writer.write(MarkRecord(1e3, "after"))
    writer.close()
    assert path.read_bytes() == stopped
    texts = [r for r in read_session(path).records if isinstance(r, MarkRecord)]
    assert len(texts) >= count - 1


def test_a_disk_that_is_full_from_the_start_is_told(small: Path) -> None:
    """Not even the header fits: no exception, words, and an unfinished file."""
    with pytest.raises(OSError, match=os.strerror(errno.ENOSPC)):
        (small / "ballast").write_bytes(bytes(2 * SIZE))
    writer = SessionWriter(small / "drive.jsonl", HEADER)
    writer.write(MarkRecord(0.0, "on"))
    writer.close()
    assert writer.error == os.strerror(errno.ENOSPC)


def test_a_read_only_disk_is_told(frozen: Path) -> None:
    """Nothing can be made there, and the drive does not care."""
    writer = SessionWriter(frozen / "drive.jsonl", HEADER)
    writer.write(MarkRecord(0.0, "on"))
    writer.close()
    assert writer.error == os.strerror(errno.EROFS)


_ORDINARY_USER = """
import os, sys
from pathlib import Path
from bankwise.adapters.records import AdapterInfo, Header, MarkRecord
from bankwise.adapters.session_file import SessionWriter
if os.geteuid() == 0:
    os.setgid(65534)
    os.setuid(65534)
writer = SessionWriter(Path(sys.argv[1]), Header("i", "s", "t", AdapterInfo()))
writer.write(MarkRecord(0.0, "on"))
writer.close()
print(writer.error)
"""


def test_a_folder_without_permission_is_told(tmp_path: Path) -> None:
    """An ordinary user in a folder that is not his: words, no file."""
    folder = tmp_path / "closed"
    folder.mkdir(mode=0o555)
    command = [sys.executable, "-c", _ORDINARY_USER, str(folder / "drive.jsonl")]
    out = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    assert out.strip() == os.strerror(errno.EACCES)
    assert list(folder.iterdir()) == []
