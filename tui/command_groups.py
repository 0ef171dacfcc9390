"""The list of commands, by the situation one is in when one needs them."""

from __future__ import annotations

from typing import Any

from typer.core import TyperGroup

SITUATIONS: dict[str, tuple[str, ...]] = {
    "Practise without a car": ("demo", "stories", "answer", "car"),
    "At the car": ("ports", "probe", "codes", "drive", "record", "clear"),
    "Afterwards": ("check", "replay", "compare", "report", "sessions", "note"),
    "Watch along": ("watch", "serve"),
    "Session files": ("verify", "pack", "export", "import", "survey"),
}
"""Every command once, in the order of the job."""

_LEAST_ROOM = 40


class BySituation(TyperGroup):
    """Lists the commands of `--help` under the situations they belong to."""

    # Any: the classes of these two are not typer's to import in every version.
    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Writes a heading a situation, a line a command."""
        for situation, names in SITUATIONS.items():
            room = max(formatter.width - 6 - max(map(len, names)), _LEAST_ROOM)
            found = [(name, self.get_command(ctx, name)) for name in names]
            rows = [
                (name, command.get_short_help_str(room))
                for name, command in found
                if command is not None
            ]
            with formatter.section(situation):
                formatter.write_dl(rows)
