"""The report in a real browser: it fits every width, prints well and fetches nothing.

Needs Chromium on the path; without it these tests are skipped and say so.
"""

from __future__ import annotations

import http.server
import shutil
import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from bankwise.adapters.analysis import analyse
from bankwise.adapters.seals import verify
from bankwise.adapters.session_file import read_session
from bankwise.adapters.snapshot import session_snapshot
from bankwise.replay_logs import shipped
from bankwise.signals.comparison import Drive, compare
from bankwise.tui.report.page import Subject, report

pytestmark = pytest.mark.long

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
PHONE, A4, LETTER = 360, 794, 816
"""Widths in CSS pixels: a phone, and the two papers at 96 dots an inch."""

MEASURE = """<!doctype html><meta charset="utf-8"><title>0</title>
<iframe id="page" src="report.html" style="border:0;height:4000px"></iframe>
<script>
const frame = document.getElementById("page");
frame.onload = () => {
  const told = [];
  for (const width of [WIDTHS]) {
    frame.style.width = width + "px";
    const root = frame.contentDocument.documentElement;
    const wide = [...frame.contentDocument.querySelectorAll("body *")].filter(e =>
      !e.closest(".wide") && !e.closest("svg")
      && e.getBoundingClientRect().right > width + 1).map(e => e.tagName);
    told.push(width + ":" + root.scrollWidth + ":" + wide.join("+"));
  }
  document.body.setAttribute("data-told", told.join(";"));
};
</script>"""


@pytest.fixture(name="chromium")
def _chromium() -> str:
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        pytest.skip("no Chromium here: apt-get install chromium")
    return found


@pytest.fixture(name="page", scope="module")
def _page() -> str:
    """A report with all its parts: a fault, its flags, and an earlier drive."""
    path = shipped()["front-sensor-reads-lean"]
    session = read_session(path)
    analysis, seen = analyse(session), session_snapshot(session)
    drive = Drive(path.name, analysis.engine, seen)
    return report(
        Subject(
            path.name,
            session,
            analysis,
            seen,
            verify(path),
            "It uses more fuel than it did, and one tail pipe is black.",
            "the same drive",
            compare(drive, drive),
        )
    )


@pytest.fixture(name="site")
def _site(tmp_path: Path, page: str) -> Iterator[tuple[str, list[str]]]:
    (tmp_path / "report.html").write_text(page, encoding="utf-8")
    widths = ", ".join(map(str, (PHONE, A4, LETTER)))
    measure = MEASURE.replace("WIDTHS", widths)
    (tmp_path / "measure.html").write_text(measure, encoding="utf-8")
    asked: list[str] = []

    class Handler(http.server.SimpleHTTPRequestHandler):
        def __init__(self, *given: object) -> None:
            super().__init__(*given, directory=str(tmp_path))  # type: ignore[arg-type]

        def log_message(self, format: str, *args: object) -> None:
            """Silent; what was asked is kept in `asked`."""

        def do_GET(self) -> None:
            """Notes the path."""
            asked.append(self.path)
            super().do_GET()

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}", asked
    server.shutdown()
    server.server_close()


def _run(chromium: str, folder: Path, *words: str) -> str:
    profile = folder / "profile"
    done = subprocess.run(
        [chromium, *FLAGS, f"--user-data-dir={profile}", *words],
        capture_output=True,
        text=True,
        timeout=600,
        check=True,
    )
    return done.stdout


def _measured(chromium: str, address: str, folder: Path) -> list[str]:
    """A row a width: the width, how wide the page is, and elements that stick out."""
    told = _run(
        chromium,
        folder,
        "--virtual-time-budget=5000",
        "--dump-dom",
        f"{address}/measure.html",
    )
    assert 'data-told="' in told
    return told.split('data-told="', 1)[1].split('"', 1)[0].split(";")


def test_nothing_overflows_at_phone_a4_and_letter_width(
    chromium: str, site: tuple[str, list[str]], tmp_path: Path
) -> None:
    """The page is no wider than the window, and no element outside a scroll box is."""
    address, _ = site
    measured = _measured(chromium, address, tmp_path)
    assert [row.split(":")[0] for row in measured] == ["360", "794", "816"]
    for row in measured:
        width, scroll, wide = row.split(":")
        assert int(scroll) <= int(width), row
        assert wide == "", row


def test_the_measure_sees_an_overflow(
    chromium: str, site: tuple[str, list[str]], tmp_path: Path
) -> None:
    """A page with a table that does not fit is found: the check above can fail."""
    address, _ = site
    bad = tmp_path / "report.html"
    wide = '<p style="width:700px">wide</p></body>'
    bad.write_text(bad.read_text("utf-8").replace("</body>", wide), encoding="utf-8")
    rows = _measured(chromium, address, tmp_path)
    assert [row.split(":")[2] for row in rows] == ["P", "", ""]


def test_the_page_fetches_nothing(
    chromium: str, site: tuple[str, list[str]], tmp_path: Path
) -> None:
    """The browser asks the server for the page alone (and its own icon)."""
    address, asked = site
    _run(chromium, tmp_path, "--dump-dom", f"{address}/report.html")
    assert set(asked) - {"/favicon.ico"} == {"/report.html"}


@pytest.mark.parametrize("size", ["A4", "letter"])
def test_every_answer_for_the_owner_is_on_the_first_printed_page(
    chromium: str, page: str, tmp_path: Path, size: str
) -> None:
    """Printed, page one has the owner's answers and page two starts the rest."""
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext here: apt-get install poppler-utils")
    source, paper = tmp_path / "report.html", tmp_path / "report.pdf"
    assert "@page {" in page
    sized = page.replace("@page {", f"@page {{ size: {size};")
    source.write_text(sized, encoding="utf-8")
    _run(
        chromium,
        tmp_path,
        "--no-pdf-header-footer",
        f"--print-to-pdf={paper}",
        source.as_uri(),
    )
    command = ["pdftotext", "-layout", str(paper), "-"]
    pages = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    first, second, *others = pages.split("\f")
    for head in (
        "What was complained of",
        "What was found",
        "Before and after the repair",
        "What it means",
        "How much the engine had to correct its fuel",
        "How urgent it is",
        "What is advised",
        "What is not proven",
        "Readings are evidence, not a certificate.",
    ):
        assert head in first, head
    assert "For the technician" not in first
    assert second.lstrip().startswith("For the technician")
    assert "Last seal" in "".join(others)
