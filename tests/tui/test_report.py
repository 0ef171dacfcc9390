"""The report: self-contained, escaped, readable, and true to the session."""

from __future__ import annotations

import dataclasses
import re
from html.parser import HTMLParser
from pathlib import Path

import msgspec
import numpy as np
import pytest

from bankwise.adapters.analysis import analyse
from bankwise.adapters.importing import UNDATED
from bankwise.adapters.records import AdapterInfo, Exchange, Header, MarkRecord
from bankwise.adapters.seals import verify
from bankwise.adapters.session_additions import add_note, add_vehicle
from bankwise.adapters.session_file import SessionWriter, read_session
from bankwise.adapters.snapshot import before_clearing, session_snapshot
from bankwise.replay_logs import shipped
from bankwise.signals.cautions import CAUTIONS
from bankwise.signals.columns import Columns, Mark
from bankwise.signals.comparison import (
    Comparison,
    FigureChange,
    FlagChange,
    MarginChange,
    TestChange,
    Verdict,
)
from bankwise.signals.engine import Engine
from bankwise.signals.evidence import CodeReading, Snapshot, UnitCodes
from bankwise.signals.ledger import EXPLANATIONS
from bankwise.signals.severity import Severity
from bankwise.signals.shared_cells import SharedCell
from bankwise.signals.thresholds import DEFAULTS
from bankwise.tui.comparing import read_drive
from bankwise.tui.report.owner import URGENCY, uncorrected
from bankwise.tui.report.owner_words import OWNER_WORDS
from bankwise.tui.report.page import Subject, report
from bankwise.tui.report.plots import owner_chart, reduced, series, strip
from bankwise.tui.report.technician import code_rows, figure_tables

VIN = "1M8GDM9AXKP042788"


def _session(path: Path, note: str) -> None:
    """A minute of a warm engine with a switching sensor, written as exchanges."""
    header = Header(
        id="11111111-1111-1111-1111-111111111111",
        started="2024-03-04T08:30:00.000+00:00",
        tool="test",
        adapter=AdapterInfo(name="a hand-written drive", protocol="6"),
        vehicle={"vin": VIN, "note": note},
    )
    writer = SessionWriter(path, header, durable=False)
    writer.write(Exchange(0.1, "0100", ("7E8064100BE3FB813",), 0.02))
    writer.write(Exchange(0.2, "03", ("7E80443010174",), 0.02))
    for i in range(600):
        volts = "96" if i // 6 % 2 else "14"
        writer.write(
            Exchange(
                1 + i * 0.1,
                "010C0514",
                ("7E81009410C1F400582", f"7E82114{volts}80AAAAAA"),
                0.03,
            )
        )
    writer.write(MarkRecord(30.0, "smoke <b>from</b> the pipe"))
    writer.close()


def _subject(tmp_path: Path, note: str = "it smells of fuel") -> Subject:
    path = tmp_path / "drive.jsonl"
    _session(path, note)
    session = read_session(path)
    return Subject(
        path.name,
        session,
        analyse(session),
        session_snapshot(session),
        verify(path),
        str(session.header.vehicle["note"]),
    )


def _cleared(tmp_path: Path) -> Path:
    """The same drive with codes read, cleared halfway by a person, and read again."""
    plain, path = tmp_path / "plain.jsonl", tmp_path / "cleared.jsonl"
    _session(plain, "")
    session = read_session(plain)
    writer = SessionWriter(path, session.header, durable=False)
    rows = [
        Exchange(31.0, "07", ("7E8024700",), 0.02),
        Exchange(31.2, "020200", ("7E8054202000174",), 0.02),
        Exchange(31.4, "020C00", ("7E805420C001F40",), 0.02),
        Exchange(31.6, "04", ("7E80144",), 0.02),
        Exchange(31.8, "03", ("7E8024300",), 0.02),
        Exchange(31.9, "07", ("7E8024700",), 0.02),
    ]
    records = [r for r in session.records if isinstance(r, Exchange | MarkRecord)]
    for record in sorted((*records, *rows), key=lambda r: r.t):
        writer.write(record)
    writer.close()
    return path


class _Page(HTMLParser):
    """Collects what a page would fetch or run, and whether its tags close."""

    def __init__(self) -> None:
        super().__init__()
        self.fetched: list[str] = []
        self.open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Notes links and scripts."""
        if tag in {"script", "link", "iframe", "img", "object"}:
            self.fetched.append(tag)
        for name, value in attrs:
            outside = (value or "").startswith(("http", "//", "data:"))
            if name in {"src", "href", "xlink:href"} and outside:
                self.fetched.append(f"{tag} {value}")
        if tag not in {"meta", "br", "hr"}:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        """Takes the matching tag away."""
        assert self.open
        assert self.open.pop() == tag


def test_the_page_is_self_contained_and_well_formed(tmp_path: Path) -> None:
    """No script, nothing fetched, every tag closed."""
    page = _Page()
    page.feed(report(_subject(tmp_path)))
    assert page.fetched == []
    assert page.open == []


def test_what_people_wrote_is_escaped(tmp_path: Path) -> None:
    """Marks and complaints cannot bring markup into the page."""
    text = report(_subject(tmp_path, "<script>alert(1)</script>"))
    assert "<script>" not in text
    assert "&lt;script&gt;" in text
    assert "<b>from</b>" not in text


def test_what_was_added_later_is_no_remark(tmp_path: Path) -> None:
    """A note is told as one; a VIN added by hand is masked like one that was read."""
    path = tmp_path / "drive.jsonl"
    _session(path, "it smells of fuel")
    with path.open("a") as file:
        file.write('{"k":"end","t":61.5}\n')
    add_vehicle(path, {"vin": VIN})
    add_note(path, "new clamp fitted")
    session = read_session(path)
    subject = dataclasses.replace(
        _subject(tmp_path), session=session, analysis=analyse(session)
    )
    text = report(subject, mask_vin=True)
    assert VIN not in text
    assert "new clamp fitted" in text


def test_limits_are_told_in_words(tmp_path: Path) -> None:
    """Nobody has to know the name of a limit; what it does not prove is a sentence."""
    session = read_session(shipped()["unmetered-air"])
    subject = dataclasses.replace(
        _subject(tmp_path), session=session, analysis=analyse(session)
    )
    text = report(subject)
    limits = [line for line in text.splitlines() if line.startswith("Limits: ")]
    assert limits
    assert not any(
        re.search(r"[a-z]_[a-z]", line.split("Source")[0]) for line in limits
    )
    assert "Does not prove: Not" not in text
    assert not any(re.search(r"\d\.0 ", line.split("Source")[0]) for line in limits)


def test_a_side_that_was_never_corrected_is_said_under_the_chart() -> None:
    """One line where two are expected is explained; two lines, or one side, are not."""
    unplugged = analyse(read_session(shipped()["front-sensor-unplugged"])).engine
    assert uncorrected(unplugged) == (
        "The fuel of bank 2 was not corrected at any time in this drive."
    )
    assert uncorrected(analyse(read_session(shipped()["healthy"])).engine) == ""


def test_the_vin_is_masked_everywhere_on_request(tmp_path: Path) -> None:
    """The number does not appear once in a masked report."""
    subject = _subject(tmp_path)
    assert VIN in report(subject)
    assert VIN not in report(subject, mask_vin=True)


def test_the_page_carries_seal_codes_and_marks(tmp_path: Path) -> None:
    """What a technician needs to prove and to repeat it is there."""
    subject = _subject(tmp_path)
    text = report(subject)
    assert subject.seal.last_seal in text
    assert "P0174" in text
    assert "it smells of fuel" in text
    assert "from" in text
    assert subject.session.header.id in text


def test_the_same_session_gives_the_same_page(tmp_path: Path) -> None:
    """No clock and no chance enters the page."""
    subject = _subject(tmp_path)
    assert report(subject) == report(subject)


def test_tests_codes_and_changed_limits_are_told(tmp_path: Path) -> None:
    """A noted test, a contradicted code and a limit changed by hand reach the page."""
    subject = _subject(tmp_path)
    mine = DEFAULTS.with_changes({"trim_add_pct": 12})
    analysis = analyse(subject.session, mine)
    analysis.columns.marks.append(Mark(40.0, "smoke", "test:smoke-test:leak-found:B2"))
    text = report(dataclasses.replace(subject, analysis=analysis))
    assert "Tests done" in text
    assert "Smoke showed a leak in the intake." in text
    assert "Limits changed by hand" in text
    assert "<code>trim_add_pct</code> 12" in text
    assert "test:smoke-test" not in text
    assert "Limits changed by hand" not in report(subject)


def test_a_comparison_reaches_owner_and_technician(tmp_path: Path) -> None:
    """The verdict stands on the first page, tables and reasons after it."""
    subject = _subject(tmp_path)
    change = MarginChange("B1", "catalyst, <ratio>", 0.92, None)
    tests = (TestChange("smoke test", "B2", "Smoke showed a leak.", ""),)
    made = Comparison(
        Verdict.NOT_YET,
        ("bank 2 still needs +14.0 %",),
        (SharedCell(2, 1500.0, 30.0, 18.0, 14.0, -5.0, -3.0, 40, 50),),
        (FlagChange("one-bank-lean", "B2", Severity.ACT, "still"),),
        (FigureChange("wake_up_b1s1_s", 12.0, 11.0),),
        ("P0174",),
        (),
        (),
        (change,),
        ("hill was driven before only",),
        tests,
    )
    text = report(dataclasses.replace(subject, before="monday.jsonl", comparison=made))
    first, rest = text.split("For the technician", 1)
    assert "It is not proven yet that the fault is gone." in first
    for words in (
        "compared with monday.jsonl",
        "bank 2 still needs +14.0 %",
        "+18.0",
        "−5.0 … −3.0",
        "sensor wake-up",
        "catalyst, &lt;ratio&gt;, room to the limit",
        "92%",
        "not done",
        "hill was driven before only",
    ):
        assert words in rest, words
    assert "<pre" not in text


def test_figures_have_words_instead_of_names() -> None:
    """Every once-a-drive figure has its title and unit; places are columns."""
    figures = {"wake_up_b1s1_s": 12.0, "wake_up_b2s1_s": None, "plateau_c": 88.4}
    by_sensor, engine = figure_tables(figures)
    assert by_sensor.heads == ("B1S1",)
    assert by_sensor.rows == (("wake-up time, s", "12.0"),)
    assert engine.rows == (("coolant plateau, °C", "88.4"),)


def test_a_contradicted_code_is_told_so() -> None:
    """A thermostat code in a drive that got warm comes with what speaks against it."""
    columns = Columns()
    t = np.arange(0.0, 60.0, 1.0)
    columns.extend("ect_c", t, np.full(60, 91.0), np.zeros(60))
    columns.extend("rpm", t, np.full(60, 1500.0), np.zeros(60))
    columns.end_s = 60.0
    engine = Engine()
    engine.advance(columns, 59.0)
    units = (UnitCodes("7E8", ("P0128",)),)
    none = (UnitCodes("7E8", ()),)
    seen = Snapshot(
        {
            "stored": CodeReading("stored", 1.0, units),
            "pending": CodeReading("pending", 1.0, none),
            "permanent": CodeReading("permanent", 1.0, none),
        }
    )
    (story,) = code_rows(seen, engine)["stories"]
    assert story["against"].startswith("A coolant temperature code is stored, yet")


def test_owner_words_cover_every_explanation() -> None:
    """No explanation reaches an owner without plain words, and none condemns."""
    assert set(OWNER_WORDS) == set(EXPLANATIONS)
    for words in OWNER_WORDS.values():
        text = f"{words.found} {words.means} {words.advised} {words.open}".lower()
        assert "replace" not in text
        assert not re.search(r"\bmust be changed\b", text)


@pytest.mark.parametrize(
    ("port", "told"), [("the simulated car", True), ("/dev/ttyUSB0", False)]
)
def test_a_simulated_drive_says_so_however_it_is_known(
    tmp_path: Path, port: str, told: bool
) -> None:
    """A demo's adapter has a name like a real one; its port tells what it was."""
    subject = _subject(tmp_path)
    header = subject.session.header
    adapter = AdapterInfo(name="SIMOBD v1.0", protocol="6", port=port)
    header = msgspec.structs.replace(header, adapter=adapter)
    session = dataclasses.replace(subject.session, header=header)
    said = report(dataclasses.replace(subject, session=session))
    assert ("a simulated car: no real vehicle was measured" in said) is told


def test_a_trace_keeps_its_extremes_when_reduced(tmp_path: Path) -> None:
    """A spike of one sample survives the reduction to pixel columns."""
    columns = _subject(tmp_path).analysis.columns
    t, v = series(columns, "o2_b1s1_v")
    at, value = reduced(t.repeat(9), v.repeat(9))
    assert value.max() == pytest.approx(v.max())
    assert value.min() == pytest.approx(v.min())
    assert len(at) < 9 * len(t)


def test_a_hole_is_not_bridged() -> None:
    """Lines break where nothing was measured for three seconds."""
    columns = Columns()
    t = np.array([0.0, 1.0, 2.0, 9.0, 10.0])
    columns.extend("rpm", t, np.full(5, 800.0), np.zeros(5))
    at, v = series(columns, "rpm")
    assert at.tolist() == [0.0, 1.0, 2.0, 2.0, 9.0, 10.0]
    assert np.flatnonzero(np.isnan(v)).tolist() == [3]
    slow = np.arange(0.0, 100.0, 10.0)
    columns.extend("ect_c", slow, np.full(10, 80.0), np.zeros(10))
    assert not np.isnan(series(columns, "ect_c")[1]).any()
    assert strip(columns, (100.0, 110.0)) == ""
    assert strip(columns, (0.0, 10.0)).startswith("<svg")


def test_a_shipped_fault_gets_its_strips_and_an_owners_sentence() -> None:
    """Every act and stop flag comes with a strip, its limits and its source."""
    path = shipped()["front-sensor-reads-lean"]
    session = read_session(path)
    analysis = analyse(session)
    subject = Subject(
        path.name, session, analysis, session_snapshot(session), verify(path)
    )
    text = report(subject)
    serious = [f for f in analysis.engine.flags if f.severity.rank >= Severity.ACT.rank]
    assert serious
    assert text.count("<svg") >= 2 + len(serious)
    for flag in serious:
        assert flag.id in text
    first, rest = text.split("For the technician", 1)
    assert OWNER_WORDS["sensor-reads-lean"].found in first
    assert "simulated car: no real vehicle" in first
    assert URGENCY[max((f.severity for f in serious), key=lambda s: s.rank)] in first
    assert "waiting to be confirmed: P2195" in first
    assert "the sensor before the catalyst, on bank 1" in first
    assert first.count("<svg") == 1
    words = re.sub(r"<svg.*?</svg>|<style>.*?</style>|<[^>]*>", " ", first, flags=re.S)
    assert not re.search(r"\bB[12](S\d)?\b|\w_\w|\bclosed loop\b", words)
    for flag in analysis.engine.flags:
        assert flag.id not in words
    assert CAUTIONS["computer-inputs"] not in first
    assert "Before any work" in rest


def test_a_short_drive_names_no_cause_to_its_owner(tmp_path: Path) -> None:
    """Where the engine cannot tell, the headline says so, whatever ranks after it."""
    subject = _subject(tmp_path)
    assert subject.analysis.engine.explanations()[0].id == "cannot-tell"
    first = report(subject).split("For the technician", 1)[0]
    assert OWNER_WORDS["cannot-tell"].found in first
    told = "The car has stored 1 trouble code: P0174 (about the fuel mixture)."
    assert told in first


def test_codes_that_nobody_read_are_not_none(tmp_path: Path) -> None:
    """The first page tells unread codes from no codes."""
    subject = _subject(tmp_path)
    empty = Snapshot({w: CodeReading(w, None) for w in subject.seen.codes})
    text = report(dataclasses.replace(subject, seen=empty))
    assert "The car&#39;s own trouble codes were not read." in text


def test_an_import_does_not_pretend_to_know_its_day(tmp_path: Path) -> None:
    """A table without dates is imported on a day and driven on one not known."""
    subject = _subject(tmp_path)
    assert "2024-03-04 08:30 UTC" in report(subject)
    header = subject.session.header
    undated = msgspec.structs.replace(header, vehicle={**header.vehicle, UNDATED: True})
    session = dataclasses.replace(subject.session, header=undated)
    text = report(dataclasses.replace(subject, session=session))
    assert "on a day not known, imported 2024-03-04" in text


def test_the_owners_chart_draws_what_is_known(tmp_path: Path) -> None:
    """Without a trim there is no chart; one bank has no name in it."""
    assert owner_chart(_subject(tmp_path).analysis.engine) == ""
    columns = Columns()
    t = np.arange(0.0, 120.0, 0.5)
    for name, value in (("rpm", 1500.0), ("stft_b1_pct", 3.0), ("ltft_b1_pct", 12.0)):
        columns.extend(name, t, np.full(240, value), np.zeros(240))
    columns.end_s = 120.0
    engine = Engine()
    engine.advance(columns, 119.0)
    chart = owner_chart(engine)
    assert "adds fuel" in chart
    assert "bank 1" not in chart


def test_what_stood_before_codes_were_cleared_is_in_the_report(tmp_path: Path) -> None:
    """Code and freeze frame that clearing wiped in the car are told, and both ages."""
    path = _cleared(tmp_path)
    session = read_session(path)
    seen, analysis = session_snapshot(session), analyse(session)
    assert seen.codes["stored"].codes == ()
    subject = Subject(path.name, session, analysis, seen, verify(path))
    wiped = dataclasses.replace(subject, cleared=before_clearing(session))
    text = report(wiped)
    first, rest = text.split("For the technician", 1)
    assert "Before its trouble codes were erased: The car has stored 1" in first
    assert "Since then: The car has stored no trouble code" in first
    before, since = rest.split("Since codes were cleared", 1)
    assert "P0174" in before.split("Before codes were cleared", 1)[1]
    assert "Freeze frame of 7E8, set by P0174" in before
    assert "P0174" not in since
    assert "cleared in this recording" not in report(subject)
    page = _Page()
    page.feed(text)
    assert page.open == []


def test_a_repair_is_held_against_what_stood_before_clearing(tmp_path: Path) -> None:
    """A code cleared at the end of the first visit is still what has to go."""
    path = _cleared(tmp_path)
    assert read_drive(path, uncleared=True).snapshot.codes["stored"].codes == ("P0174",)
    assert read_drive(path).snapshot.codes["stored"].codes == ()
    never = tmp_path / "plain.jsonl"
    seen = read_drive(never, uncleared=True).snapshot
    assert seen.codes["stored"].codes == ("P0174",)
