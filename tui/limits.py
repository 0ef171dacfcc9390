"""The limits in force: the shipped ones, and those a person changed in a file.

The file is `thresholds.toml` in the program's configuration folder, or the one that
`BANKWISE_THRESHOLDS` names. It holds lines such as `trim_add_pct = 8`. A file that
cannot be used stops the command with one line: judging by other limits than the
person believes would be worse than not judging.
"""

from __future__ import annotations

import os
import tomllib
from pathlib import Path

from platformdirs import user_config_path

from bankwise.signals.thresholds import DEFAULTS, ThresholdError, Thresholds
from bankwise.tui.errors import CommandError

VARIABLE = "BANKWISE_THRESHOLDS"
FILE = "thresholds.toml"


def limits_file() -> Path:
    """The file that changes limits, whether it is there or not."""
    named = os.environ.get(VARIABLE)
    return Path(named) if named else user_config_path("bankwise") / FILE


def in_force() -> Thresholds:
    """The shipped limits with the person's changes.

    Raises:
        CommandError: when the file is there, or named, and cannot be used.
    """
    path = limits_file()
    if not path.exists() and VARIABLE not in os.environ:
        return DEFAULTS
    try:
        changes = tomllib.loads(path.read_text(encoding="utf-8"))
        return DEFAULTS.with_changes(changes)
    except OSError as error:
        raise CommandError(f"{path}: {error.strerror or error}") from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, ThresholdError) as error:
        raise CommandError(f"{path}: {error}") from None


def changed_words(thresholds: Thresholds) -> tuple[str, ...]:
    """Each changed limit in words: name, value in force, shipped value."""
    return tuple(
        f"{row.name} {row.value:g} {row.unit}".rstrip()
        + f", shipped {row.changed_from:g}"
        for row in thresholds.changed
    )
