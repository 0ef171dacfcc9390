"""The one widget that shows a canvas, sending only what changed to the terminal."""

from __future__ import annotations

from textual import events
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from bankwise.tui.canvas import Canvas, changed_spans
from bankwise.tui.themes import PALETTES, Palette

_FLAG_ROW = 1


class CanvasView(Widget):
    """Shows a canvas, row by row.

    `draft` gives a canvas of the right size to draw on; `present` puts it on the
    screen. Between the two nothing is visible.
    """

    DEFAULT_CSS = "CanvasView { width: 1fr; height: 1fr; }"

    def __init__(self, palette: Palette = PALETTES["dark"]) -> None:
        super().__init__()
        self._palette = palette
        self._shown = Canvas.blank(0, 0)
        self._spare = Canvas.blank(0, 0)

    @property
    def shown(self) -> Canvas:
        """What is on the screen now; read only."""
        return self._shown

    def draft(self, width: int, height: int) -> Canvas:
        """An empty canvas to draw the next frame on."""
        if (self._spare.width, self._spare.height) != (width, height):
            self._spare = Canvas.blank(width, height)
        self._spare.clear()
        return self._spare

    def present(self, canvas: Canvas, palette: Palette) -> int:
        """Shows a canvas; returns the number of cells that changed."""
        repainted = palette is not self._palette
        self._palette = palette
        before, self._shown, self._spare = self._shown, canvas, self._shown
        if repainted or before.chars.shape != canvas.chars.shape:
            self.refresh()
            return canvas.chars.size
        spans = changed_spans(before, canvas)
        if spans:
            self.refresh(*(Region(x, y, width, 1) for y, x, width in spans))
        return sum(width for _, _, width in spans)

    def render_line(self, y: int) -> Strip:
        """One row; blank where the canvas is still of the size before a resize."""
        if y >= self._shown.height:
            return Strip.blank(self.size.width, self._palette.style(0))
        strip = self._shown.strip(y, self._palette)
        if self._shown.width != self.size.width:
            return strip.adjust_cell_length(self.size.width, self._palette.style(0))
        return strip

    def on_mouse_scroll_up(self, _event: events.MouseScrollUp) -> None:
        """The wheel goes back in time, as its key does."""
        self.app.simulate_key("left")

    def on_mouse_scroll_down(self, _event: events.MouseScrollDown) -> None:
        """And on again."""
        self.app.simulate_key("right")

    def on_click(self, event: events.Click) -> None:
        """The line of a flag under the top one opens its proof."""
        if event.y == _FLAG_ROW:
            self.app.simulate_key("o")
