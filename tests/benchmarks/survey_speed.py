"""Sessions a second of a survey, on one core and on two, side by side in one run.

    python tests/benchmarks/survey_speed.py [SESSIONS]

Surveys copies of the shipped sessions, 8 to 17 minutes each, and projects the time
that a hundred thousand of them take. Starting the processes is counted in. The
processor time a session, which other work on the machine stretches less than the clock,
stands beside it. Takes about a minute with 120 sessions on a calm machine of two cores.
"""

from __future__ import annotations

import os
import shutil
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from bankwise.replay_logs import shipped
from bankwise.tui.survey import on_cores, survey

PROJECTED = 100_000


def main(count: int) -> None:
    """Prints a line a number of cores."""
    with TemporaryDirectory() as scratch:
        fleet = Path(scratch) / "fleet"
        fleet.mkdir()
        sources = list(shipped().values())
        for number in range(count):
            shutil.copy(sources[number % len(sources)], fleet / f"{number}.jsonl.gz")
        for cores in (1, 2):
            began, used = time.perf_counter(), _processor_s()
            done, errors = survey(fleet, Path(scratch) / f"{cores}", on_cores(cores))
            seconds = time.perf_counter() - began
            used = (_processor_s() - used) / done
            hours = PROJECTED / (done / seconds) / 3600
            print(
                f"{cores} cores: {done} sessions in {seconds:.1f} s, "
                f"{done / seconds:.1f} a second, {used:.2f} s of processor each, "
                f"{errors} errors; "
                f"{PROJECTED:,} would take {hours:.1f} h"
            )


def _processor_s() -> float:
    """Processor time of this process and of all that it waited for. Unit: s."""
    told = os.times()
    return told.user + told.system + told.children_user + told.children_system


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 120)
