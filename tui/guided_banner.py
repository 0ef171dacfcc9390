"""One line that keeps a running guided test in sight on every other situation."""

from __future__ import annotations

from collections.abc import Mapping

from bankwise.tui.guided_flow import ENDED, RUN, page_of
from bankwise.tui.snapshot import PaneState


def banner(pane_id: str, states: Mapping[str, PaneState]) -> str:
    """What runs meanwhile, and the key that leads back; empty when nothing does."""
    if pane_id == "guided" or "guided" not in states:
        return ""
    page = page_of(states["guided"])
    if page.kind == ENDED:
        return "guided test ended: 3 shows what was found"
    if page.kind != RUN:
        return ""
    test = page.guided
    place = "" if page.about == "engine" else f"{page.about} "
    rates = ", at its own poll rates" if test.rates else ""
    step = f"step {page.step + 1} of {len(test.steps)}"
    return f"guided test {place}runs{rates} · 3: back to {step}"
