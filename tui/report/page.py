"""Builds the report: everything it says is recomputed from the session."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.metadata import version
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from bankwise.adapters.analysis import Analysis
from bankwise.adapters.importing import ADAPTER_NAME as IMPORTED
from bankwise.adapters.importing import UNDATED
from bankwise.adapters.seals import Verdict
from bankwise.adapters.session_file import Session
from bankwise.adapters.vin import masked, verdict
from bankwise.signals.catalogue import BANKS
from bankwise.signals.cautions import CAUTIONS
from bankwise.signals.comparison import Comparison
from bankwise.signals.engine import Engine, FlagSpan
from bankwise.signals.evidence import Snapshot
from bankwise.signals.explanations import Explanation
from bankwise.signals.ledger import EXPLANATIONS
from bankwise.signals.limit_words import WORDS
from bankwise.signals.severity import Severity
from bankwise.signals.trim_map import trim_map
from bankwise.tui.report.owner import owner_page, uncorrected
from bankwise.tui.report.plots import (
    LANES,
    LOW_LANE_IN,
    owner_chart,
    strip,
    trim_maps,
)
from bankwise.tui.report.technician import (
    code_rows,
    comparison_tables,
    figure_tables,
    frame_rows,
    hand_test_rows,
    mark_rows,
    monitor_rows,
    phase_table,
    result_rows,
)
from bankwise.tui.words import clock, unproven

AROUND_S = 20.0
"""What a strip shows before a flag rises and after. Unit: s. Our choice."""
LONGEST_STRIP_S = 60.0
_MOST_CAUSES = 3
_AROUND_FLAGS = LANES[:5]
"""Lanes of a flag's strip: sensors, trims and engine speed."""


@dataclass(frozen=True, slots=True)
class Subject:
    """What the report is about.

    Attributes:
        name: the file's name.
        session: as read.
        analysis: of that session, finished.
        seen: codes and their history.
        seal: what `verify` says of the file.
        complaint: what the owner complained of; empty when nobody wrote it down.
        before: name of an earlier drive it was compared with, or empty.
        comparison: with that drive, or None.
        cleared: codes and their history as they stood before codes were cleared in
            this session; None when they were not.
    """

    name: str
    session: Session
    analysis: Analysis
    seen: Snapshot
    seal: Verdict
    complaint: str = ""
    before: str = ""
    comparison: Comparison | None = None
    cleared: Snapshot | None = None


def report(subject: Subject, *, mask_vin: bool = False) -> str:
    """The page as HTML: one file, no script, nothing fetched."""
    environment = Environment(
        loader=PackageLoader("bankwise.tui.report", "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("page.html").render(_context(subject, mask_vin))


def _context(subject: Subject, mask_vin: bool) -> dict[str, Any]:
    engine = subject.analysis.engine
    found = engine.explanations()
    made = subject.comparison
    comparison = None if made is None else comparison_tables(subject.before, made)
    flags = sorted(engine.flags, key=lambda f: (-f.severity.rank, f.first_s))
    return {
        "facts": _facts(subject, mask_vin),
        "complaint": subject.complaint or "not written down",
        "owner": owner_page(engine, subject.seen, subject.cleared),
        "recording": _recording(subject),
        "chart": Markup(owner_chart(engine)),
        "uncorrected": uncorrected(engine),
        "usual": f"{engine.thresholds['trim_add_pct']:.0f}",
        "cautions": _cautions(flags),
        "comparison": comparison,
        "changed": list(engine.thresholds.changed),
        "explanations": [_explanation(one) for one in found[:_MOST_CAUSES]],
        "flags": [_flag(subject.analysis, flag) for flag in flags],
        "overview": Markup(
            strip(subject.analysis.columns, (0.0, subject.analysis.columns.end_s))
        ),
        "maps": Markup(
            trim_maps({bank: trim_map(engine.frame, bank) for bank in BANKS})
        ),
        "phases": phase_table(engine),
        "figures": figure_tables(engine.figures()),
        **_evidence(subject.seen, engine),
        "cleared": subject.cleared and _evidence(subject.cleared, engine),
        "tests": hand_test_rows(engine),
        "marks": mark_rows(engine),
        "limits": [
            (limit.about, limit.what, limit.why) for limit in engine.cannot_tell()
        ],
        "thresholds": _thresholds(engine.flags, engine.thresholds),
        "limit_words": WORDS,
        "seal": subject.seal,
        "evidence_caution": CAUTIONS["evidence-only"],
        "version": version("bankwise"),
    }


def _evidence(seen: Snapshot, engine: Engine) -> dict[str, Any]:
    """Codes and their history as tables."""
    return {
        "codes": code_rows(seen, engine),
        "frames": [frame_rows(f) for f in seen.frames if f.values],
        "monitors": monitor_rows(seen),
        "results": result_rows(seen),
        "unread": seen.unread,
    }


def _facts(subject: Subject, mask_vin: bool) -> list[tuple[str, str]]:
    header = subject.session.header
    vehicle = subject.analysis.columns.vehicle
    vin = vehicle.vin or subject.seen.vin
    shown = masked(vin) if mask_vin else vin
    length = f"{clock(subject.analysis.columns.end_s)} min"
    date = header.started.replace("T", " ")[:16] + " UTC"
    driven = (
        f"on a day not known, imported {date[:10]}"
        if UNDATED in header.vehicle
        else f"{date}"
    )
    rows = [
        ("Car", str(header.vehicle.get("name") or "not written down")),
        ("VIN", f"{shown} ({verdict(vin).value})" if vin else "not read"),
        ("Driven", f"{driven}, for {length}"),
    ]
    if header.simulated:
        rows.append(("Note", "a simulated car: no real vehicle was measured"))
    return rows


def _recording(subject: Subject) -> list[tuple[str, str]]:
    header = subject.session.header
    adapter = header.adapter
    rows = [
        ("File", subject.name),
        ("Session", header.id),
        ("Adapter", adapter.name or "unknown"),
        ("Recorded by", header.tool or "unknown"),
    ]
    rows += [("Odd in the file", warning) for warning in subject.session.warnings]
    if not adapter.name.startswith(IMPORTED):
        rows.insert(3, ("Protocol", f"number {adapter.protocol or 'unknown'}"))
    return rows


def _cautions(flags: list[FlagSpan]) -> list[str]:
    ids = dict.fromkeys(flag.rule.caution for flag in flags if flag.rule.caution)
    return [CAUTIONS[name] for name in ids]


def _explanation(one: Explanation) -> dict[str, Any]:
    return {
        "id": one.id,
        "about": one.about,
        "says": EXPLANATIONS[one.id],
        "share": f"{one.share:.0%}",
        "for": one.for_,
        "against": one.against,
        "next": "" if one.id == "cannot-tell" else one.next,
    }


def _flag(analysis: Analysis, flag: FlagSpan) -> dict[str, Any]:
    end = analysis.columns.end_s
    first = max(0.0, flag.first_s - AROUND_S)
    last = min(end, max(flag.first_s + AROUND_S, flag.last_s + AROUND_S / 2))
    span = first, min(last, first + LONGEST_STRIP_S)
    lanes = _AROUND_FLAGS if flag.severity in (Severity.ACT, Severity.STOP) else ()
    thresholds = analysis.engine.thresholds
    names = dict.fromkeys((*flag.rule.limits, flag.rule.hold))
    return {
        "id": flag.id,
        "about": flag.about,
        "severity": flag.severity.value,
        "when": f"{clock(flag.first_s)} to {clock(flag.last_s)}, "
        f"{clock(flag.total_s)} in all",
        "text": flag.text,
        "unproven": unproven(flag.rule.does_not_prove),
        "causes": flag.rule.causes,
        "next": flag.rule.next,
        "caution": CAUTIONS.get(flag.rule.caution, ""),
        "source": flag.rule.source,
        "limits": [thresholds.row(name) for name in names],
        "strip": Markup(strip(analysis.columns, span, flag.spans, lanes, LOW_LANE_IN)),
    }


def _thresholds(flags: list[FlagSpan], thresholds: Any) -> list[Any]:
    used = {name for flag in flags for name in (*flag.rule.limits, flag.rule.hold)}
    changed = {row.name for row in thresholds.changed}
    return [thresholds.row(name) for name in sorted(used | changed)]
