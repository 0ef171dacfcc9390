"""From the engine's records to the rows that panes draw."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from bankwise.adapters.code_table import description, failure_type
from bankwise.signals import evidence as codes
from bankwise.signals.cautions import CAUTIONS
from bankwise.signals.columns import Columns
from bankwise.signals.contradictions import contradictions
from bankwise.tui.feed_kinds import Engine
from bankwise.tui.snapshot import Cause, Flag, Limit, Unsaid

if TYPE_CHECKING:
    from bankwise.signals.engine import FlagSpan


class NoTicks:
    """Before the first answer there is nothing derived."""

    @property
    def ticks(self) -> Any:
        """No tick."""
        return Columns()["rpm"].t

    def __getitem__(self, name: str) -> Any:
        return Columns()[name].v

    def why(self, name: str) -> str:
        """Nothing is known yet."""
        return ""


def code_words(found: codes.Snapshot | None) -> dict[str, str]:
    """What each code read stands for, by code."""
    if found is None:
        return {}
    known = {code for reading in found.codes.values() for code in reading.codes}
    return {
        code: ", ".join(filter(None, (description(code), failure_type(code))))
        for code in known
    }


def against(found: codes.Snapshot, engine: Any) -> dict[str, str]:
    """What this drive says against a code, by code."""
    return {one.code: one.text for one in contradictions(found, engine.frame)}


def flag(span: FlagSpan, thresholds: Any) -> Flag:
    """A flag with its words and the limits in force."""
    rule = span.rule
    return Flag(
        span.id,
        span.about,
        span.severity,
        span.text,
        span.first_s,
        span.last_s,
        span.total_s,
        tuple((a, b) for a, b in span.spans),
        span.active,
        rule.does_not_prove,
        rule.causes,
        rule.next,
        CAUTIONS.get(rule.caution, ""),
        rule.source,
        tuple(
            Limit(
                row.name,
                row.value,
                row.unit,
                row.source
                if row.changed_from is None
                else f"changed by hand, shipped {row.changed_from:g}",
            )
            for row in map(thresholds.row, dict.fromkeys((*rule.limits, rule.hold)))
        ),
    )


def causes(engine: Engine) -> tuple[Cause, ...]:
    """The ledger, most likely first."""
    return tuple(
        Cause(e.id, e.about, e.share, tuple(e.for_), tuple(e.against), e.next)
        for e in engine.explanations()
    )


def unsaid(engine: Engine) -> tuple[Unsaid, ...]:
    """What the data cannot tell, and why."""
    return tuple(Unsaid(u.about, u.what, u.why) for u in engine.cannot_tell())
