"""Where the program begins, before anything slow is loaded.

Ctrl-C while the program is still loading ends it at once and without a word; from
`run` on, each command ends in its own good order.
"""

from __future__ import annotations

import signal
import sys


def main() -> None:
    """Loads the command line and runs it."""
    before = signal.signal(signal.SIGINT, signal.SIG_DFL)
    from bankwise.tui.main import run

    signal.signal(signal.SIGINT, before)
    sys.exit(run())


if __name__ == "__main__":
    main()
