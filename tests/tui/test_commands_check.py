"""`check` and `verify`: what they print, and the status they end with."""

from __future__ import annotations

import gzip
import json
import math
from dataclasses import replace
from pathlib import Path
from random import Random
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from bankwise.adapters.analysis import analyse
from bankwise.adapters.errors import SessionError
from bankwise.adapters.library_entry import describe
from bankwise.adapters.session_additions import add_note, add_vehicle
from bankwise.adapters.session_file import read_session
from bankwise.replay_logs import shipped
from bankwise.signals.cautions import CAUTIONS
from bankwise.signals.columns import Column
from bankwise.signals.engine import CannotTell
from bankwise.signals.explanations import Explanation
from bankwise.signals.ledger import EXPLANATIONS
from bankwise.signals.rules import RULES
from bankwise.tui.main import app
from bankwise.tui.print_check import as_text, verdict
from bankwise.tui.print_check_json import fresh_hz, plain
from bankwise.tui.print_sessions import as_line

KEYS = {
    "file", "session", "flags", "explanations", "figures", "cannot_tell", "tests",
    "marks", "notes",
}  # fmt: skip
SESSION_KEYS = {
    "id", "started", "seconds", "exchanges", "dropped_lines", "holes", "signals",
}  # fmt: skip
FLAG_KEYS = {
    "id", "about", "severity", "first_s", "last_s", "total_s", "text",
    "does_not_prove", "causes", "next", "caution", "source",
}  # fmt: skip
RULE_IDS = {rule.id for rule in RULES}
EXPLANATION_KEYS = {"id", "about", "share", "for", "against", "next"}


@pytest.fixture(name="run")
def _run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    monkeypatch.setenv("BANKWISE_SESSIONS", str(tmp_path))

    def run(*arguments: str) -> Result:
        return CliRunner().invoke(app, list(arguments))

    return run


@pytest.fixture(name="remarked")
def _remarked(tmp_path: Path) -> Path:
    """A shipped drive with a remark, a noted smoke test, a note and a detail."""
    lines = gzip.decompress(shipped()["unmetered-air"].read_bytes()).splitlines(True)
    lines = [line for line in lines if b'"k":"seal"' not in line]
    where = next(i for i, line in enumerate(lines) if b'"k":"end"' in line)
    t = json.loads(lines[where - 1])["t"]
    marks = [
        {"k": "mark", "t": t, "text": "hisses louder now", "tag": "note-at:61.5"},
        {"k": "mark", "t": t, "text": "x", "tag": "test:smoke:leak-found:engine"},
        {"k": "mark", "t": t, "text": "x", "tag": "given:pull:gear:3"},
    ]
    lines[where:where] = [json.dumps(mark).encode() + b"\n" for mark in marks]
    path = tmp_path / "smoked.jsonl"
    path.write_bytes(b"".join(lines))
    add_note(path, "split hose behind the throttle")
    add_vehicle(path, {"vin": "4ZVMLJZL5KS800985"})
    return path


def test_marks_notes_and_tests_are_told(run: Any, remarked: Path) -> None:
    """What people said and did stands in text and JSON; the program's marks do not."""
    told = run("check", str(remarked)).stdout
    after = told.split("Tests done\n", 1)[1]
    assert "smoke: Smoke showed a leak in the intake." in after
    remarks = after.split("Remarks\n", 1)[1].split("\n\n", 1)[0].splitlines()
    assert [line.split("  ")[-1].strip() for line in remarks] == [
        "hisses louder now",
        "afterwards: split hose behind the throttle",
    ]
    found = json.loads(run("check", "--json", str(remarked)).stdout)
    assert found["marks"] == [{"t": 61.5, "text": "hisses louder now"}]
    assert found["notes"] == ["split hose behind the throttle"]
    (test,) = found["tests"]
    assert (test["id"], test["about"]) == ("smoke", "engine")
    assert test["outcomes"] == ["leak-found"]
    assert "Tests done" not in run("check", "healthy").stdout


def test_a_shuffled_file_is_refused_in_one_line(run: Any, tmp_path: Path) -> None:
    """Records in no order would make a drive of weeks: said at once, and for each."""
    first, *rest = gzip.decompress(shipped()["healthy"].read_bytes()).splitlines(True)
    Random(1).shuffle(rest)
    path = tmp_path / "mixed.jsonl"
    path.write_bytes(b"".join([first, *rest]))
    told = run("check", str(path))
    assert told.exit_code == 2
    assert told.stderr.splitlines() == [
        f"bankwise: {path}: time leaps more than 1000 times: its records are in no "
        "order"
    ]
    for command in ("report", "codes"):
        refused = run(command, str(path)).exception
        assert isinstance(refused, SessionError)
        assert "in no order" in str(refused)


def test_what_a_file_says_moves_no_terminal(run: Any, tmp_path: Path) -> None:
    """Controls and turned-round letters of a foreign file are blanks; texts are cut."""
    lines = gzip.decompress(shipped()["healthy"].read_bytes()).splitlines(True)
    header = json.loads(lines[0])
    evil = "\x1b[31mred\x07\u202ekcab"
    header["vehicle"]["note"] = evil
    mark = {"k": "mark", "t": 1.0, "text": evil + "long " * 2000}
    path = tmp_path / "foreign.jsonl"
    path.write_text(f"{json.dumps(header)}\n{json.dumps(mark)}\n", encoding="utf-8")
    told = as_text_of(path)
    assert "red" in told
    assert not {"\x1b", "\x07", "\u202e"} & set(told)
    assert len(told) < 3000
    assert not {"\x1b", "\x07", "\u202e"} & set(as_line(describe(path)))


def as_text_of(path: Path) -> str:
    """What check prints of a file, before a terminal or a pipe changes it."""
    session = read_session(path)
    return as_text(str(path), session, analyse(session))


def test_json_has_every_key(run: Any) -> None:
    """One session is one object, every key present, every number finite or null."""
    done = run("check", "--json", "front-sensor-reads-lean")
    assert done.exit_code == 0

    def refuse(constant: str) -> None:
        pytest.fail(f"{constant} is no JSON")

    found = json.loads(done.stdout, parse_constant=refuse)
    assert set(found) == KEYS
    assert set(found["session"]) == SESSION_KEYS
    assert found["flags"]
    assert all(set(flag) == FLAG_KEYS for flag in found["flags"])
    assert all(set(one) == EXPLANATION_KEYS for one in found["explanations"])
    assert all(set(one) == {"about", "what", "why"} for one in found["cannot_tell"])
    rates = found["session"]["signals"]
    assert rates["rpm"]["count"] > 1000
    assert 5 < rates["rpm"]["hz"] < 50


def test_several_files_make_a_list(run: Any) -> None:
    """Several files give a list in the order asked, one object each."""
    names = ["healthy", "thermostat-open"]
    found = json.loads(run("check", "--json", *names).stdout)
    assert [one["file"] for one in found] == names


def test_many_files_on_all_cores(run: Any, tmp_path: Path) -> None:
    """Many files come in the order asked; one that is none does not stop the others."""
    (tmp_path / "note.jsonl").write_text("not a session\n")
    names = ["healthy", "note", "thermostat-open", "worn-catalyst", "healthy"]
    done = run("check", "--json", *names)
    assert done.exit_code == 2
    found = json.loads(done.stdout)
    assert [one["file"] for one in found] == [n for n in names if n != "note"]
    assert found[0] == found[-1]
    assert "note.jsonl" in done.stderr


def test_fail_on(run: Any) -> None:
    """The status is 1 from the severity asked for, and 0 below it."""
    assert run("check", "front-sensor-reads-lean").exit_code == 0
    assert run("check", "--fail-on", "act", "front-sensor-reads-lean").exit_code == 1
    assert run("check", "--fail-on", "act", "healthy").exit_code == 0
    assert run("check", "--fail-on", "stop", "worn-catalyst").exit_code == 0


def test_text_tells_the_flag_and_its_limits(run: Any) -> None:
    """The text for a person holds the flag, what it does not prove, and the next."""
    text = run("check", "front-sensor-reads-lean").stdout
    for piece in ("front-lean-rear-rich", "B2", "Does not prove", "Next check:"):
        assert piece in text
    assert max(map(len, text.splitlines())) <= 88


def test_the_verdict_comes_first_and_the_rest_in_the_order_of_the_job(run: Any) -> None:
    """Verdict, evidence, next check, caution, rivals, flags, then what is open."""
    text = run("check", "front-sensor-reads-lean").stdout
    assert text.splitlines()[1].startswith("Verdict: ")
    assert "B1S1: the front sensor says lean when it is not" in " ".join(text.split())
    order = ("Verdict:", "\n  + ", "\nNext check:", "\nCaution:", "\nFits less well",
             "\nSession", "\nFlags")  # fmt: skip
    places = [text.find(piece) for piece in order]
    assert -1 not in places
    assert places == sorted(places)


@pytest.mark.parametrize(
    "name",
    [
        name
        if name in ("healthy", "leaking-injector", "thermostat-open")
        else pytest.param(name, marks=pytest.mark.long)
        for name in shipped()
    ],
)
def test_the_text_of_every_shipped_session_can_be_read_aloud(
    run: Any, name: str
) -> None:
    """No id stands for an explanation, no reason is missing, no caution comes twice."""
    text = run("check", name).stdout.partition("\n")[2]
    words = " ".join(text.split())
    for cause in EXPLANATIONS:
        if "-" in cause and cause not in RULE_IDS:
            assert cause not in words
    assert "cannot tell." not in words
    assert "(%" not in words
    assert "nan" not in words.lower().split()
    cautions = [one for one in CAUTIONS.values() if words.count(one) > 2]
    assert cautions == []


def test_a_session_that_shows_nothing_says_why() -> None:
    """The verdict "cannot tell" always has its reason in the same sentence."""
    limits = [CannotTell("B1S1", "switching", "sampled at 2.1 Hz, needs 10 Hz")]
    said = verdict([], limits)
    assert said == "cannot tell. B1S1 switching: sampled at 2.1 Hz, needs 10 Hz."
    unseen = Explanation("cannot-tell", "engine", 1.0, ("not seen: idle",), (), "")
    assert verdict([unseen], limits) == "cannot tell. Not seen: idle."


def test_a_verdict_with_rivals_is_not_settled() -> None:
    """Below half of the evidence the sentence says so; above, what is still needed."""
    one = Explanation("misfire", "B1", 0.4, (), (), "")
    assert verdict([one], []).startswith("not settled. Fits best: B1: unburned")
    assert "(80 % of" in verdict([replace(one, share=0.8)], [])


def test_verify_shipped(run: Any) -> None:
    """Every shipped session is whole."""
    done = run("verify", *shipped())
    assert done.exit_code == 0
    assert done.stdout.count("whole: every seal holds") == len(shipped())


def test_verify_a_folder(run: Any, tmp_path: Path) -> None:
    """Every session in and below a folder, by name; one that is none gives status 2."""
    healthy = shipped()["healthy"].read_bytes()
    (tmp_path / "2025").mkdir()
    (tmp_path / "2025" / "b.jsonl.gz").write_bytes(healthy)
    (tmp_path / "a.jsonl").write_bytes(gzip.decompress(healthy))
    (tmp_path / "readme.txt").write_text("no session, and not looked at")
    done = run("verify", str(tmp_path))
    assert done.exit_code == 0
    named = [line for line in done.stdout.splitlines() if not line.startswith(" ")]
    assert [Path(line.partition(":")[0]).name for line in named] == [
        "b.jsonl.gz",
        "a.jsonl",
    ]
    (tmp_path / "c.jsonl").write_text("nothing\n")
    done = run("verify", str(tmp_path))
    assert done.exit_code == 2
    assert done.stdout.count("whole") == 2
    assert "c.jsonl" in done.stderr


def test_verify_altered(run: Any, tmp_path: Path) -> None:
    """One changed byte is found, with the lines where it may be; the status is 1."""
    data = bytearray(gzip.decompress(shipped()["healthy"].read_bytes()))
    data[len(data) // 2] ^= 1
    (tmp_path / "changed.jsonl").write_bytes(data)
    done = run("verify", "changed")
    assert done.exit_code == 1
    assert "altered" in done.stdout


def test_plain_makes_numbers_finite() -> None:
    """What is not a number becomes null, in arrays and scalars of any kind."""
    assert plain(
        {1: (math.nan, np.float64(math.inf), np.int64(3), np.array([1.5]))}
    ) == {"1": [None, None, 3, [1.5]]}


def test_rate_ignores_holes() -> None:
    """A hole in the data does not lower the rate; one moment alone has none."""
    column = Column()
    assert fresh_hz(column) is None
    times = np.concatenate((np.arange(0, 10, 0.1), np.arange(100, 110, 0.1)))
    column.extend(times, np.zeros_like(times), np.zeros_like(times))
    assert fresh_hz(column) == 10.0
