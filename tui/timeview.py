"""Which stretch of time the lanes show, and where the cursors stand.

Pure: a key press makes a new view from the old one. While `end_s` is None the view
follows now, so nothing live is lost by looking back, and one key returns.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

SPANS_S = (10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1200.0, 3600.0)
"""The windows that zooming steps through. Unit: s. Source: our choice."""

SHORT_S = (2.0, 4.0, 5.0, 10.0, 15.0, 20.0, 30.0, 30.0, 30.0)
"""Window of the switching sensors beside each of them. Unit: s.

Source: our choice; at 60 s a sensor that switches once a second is a solid block.
"""

_START_SPAN_S = 60.0
_LEAD_SHARE = 0.6


@dataclass(frozen=True, slots=True)
class TimeView:
    """A window on session time.

    Attributes:
        span_s: length of the window.
        end_s: its right edge, or None to follow now.
        cursor_s: the reading cursor, or None.
        anchor_s: the other end of a measurement, or None.
    """

    span_s: float = _START_SPAN_S
    end_s: float | None = None
    cursor_s: float | None = None
    anchor_s: float | None = None

    @property
    def held(self) -> bool:
        """Whether time stands still on the screen."""
        return self.end_s is not None

    def end(self, now_s: float) -> float:
        """The right edge. Unit: s."""
        return now_s if self.end_s is None else self.end_s

    def start(self, now_s: float) -> float:
        """The left edge, which may lie before the session began. Unit: s."""
        return self.end(now_s) - self.span_s

    @property
    def short_s(self) -> float:
        """Length of the switching sensors' own window. Unit: s."""
        nearest = min(range(len(SPANS_S)), key=lambda i: abs(SPANS_S[i] - self.span_s))
        return SHORT_S[nearest]

    def short_end(self, now_s: float) -> float:
        """The right edge of the short window: about the cursor, if there is one."""
        end = self.end(now_s)
        if self.cursor_s is None:
            return end
        lead = self.cursor_s + (1 - _LEAD_SHARE) * self.short_s
        return max(min(lead, end), self.cursor_s)

    def read_at(self, now_s: float) -> float | None:
        """The moment to read values at: the cursor, a held end, or None for now."""
        if self.cursor_s is not None:
            return self.cursor_s
        return None if self.end_s is None or self.end_s >= now_s else self.end_s

    def hold(self, now_s: float) -> TimeView:
        """Time stands still here, or goes on when it stood."""
        return self.back_to_now() if self.held else replace(self, end_s=now_s)

    def back_to_now(self) -> TimeView:
        """Follows now again; cursors go."""
        return TimeView(self.span_s)

    def scroll(self, share: float, now_s: float) -> TimeView:
        """Moves by a share of the window; reaching now follows it again."""
        end = self.end(now_s) + share * self.span_s
        if end >= now_s and share > 0:
            return replace(self, end_s=None)
        lowest = min(self.span_s, now_s)
        return replace(self, end_s=max(end, lowest))

    def zoom(self, steps: int, now_s: float) -> TimeView:
        """So many steps shorter (negative: longer), about the cursor in sight."""
        place = min(range(len(SPANS_S)), key=lambda i: abs(SPANS_S[i] - self.span_s))
        span = SPANS_S[min(max(place - steps, 0), len(SPANS_S) - 1)]
        if self.end_s is None or self.cursor_s is None:
            return replace(self, span_s=span)
        share = (self.end_s - self.cursor_s) / self.span_s
        if not 0.0 <= share <= 1.0:
            # The window was scrolled away from the cursor.
            return replace(self, span_s=span)
        return replace(self, span_s=span, end_s=self.cursor_s + share * span)

    def show(self, t_s: float, now_s: float) -> TimeView:
        """Holds still with a moment in sight and the cursor on it."""
        end = t_s + (1 - _LEAD_SHARE) * self.span_s
        return replace(self, end_s=min(end, max(now_s, t_s)), cursor_s=t_s)

    def move_cursor(self, by_s: float, now_s: float) -> TimeView:
        """Moves the cursor, and the window after it at the edges."""
        if self.cursor_s is None:
            return self
        at = min(max(self.cursor_s + by_s, 0.0), now_s)
        end = self.end(now_s)
        end = min(max(end, at), at + self.span_s)
        return replace(self, cursor_s=at, end_s=end)

    def toggle_cursor(self, now_s: float) -> TimeView:
        """The cursor appears in mid-window and time stands still; or it goes."""
        if self.cursor_s is not None:
            return replace(self, cursor_s=None, anchor_s=None)
        end = self.end(now_s)
        return replace(
            self, end_s=end, cursor_s=max(min(end - 0.5 * self.span_s, now_s), 0.0)
        )

    def drop_anchor(self, now_s: float) -> TimeView:
        """Measures from here on; pressed again, stops measuring."""
        if self.anchor_s is not None:
            return replace(self, anchor_s=None)
        view = self if self.cursor_s is not None else self.toggle_cursor(now_s)
        return replace(view, anchor_s=view.cursor_s)

    def jump(self, moments: Sequence[float], forward: bool, now_s: float) -> TimeView:
        """To the next or previous of some moments; the same view when none is left."""
        here = self.cursor_s if self.cursor_s is not None else self.end(now_s)
        slack = 1e-6
        if forward:
            left = [t for t in moments if t > here + slack]
            return self.show(min(left), now_s) if left else self
        left = [t for t in moments if t < here - slack]
        return self.show(max(left), now_s) if left else self
