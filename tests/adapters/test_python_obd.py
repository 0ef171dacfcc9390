"""Reading sessions takes python-OBD's assemblers and leaves the rest of it out."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

SHIPPED = Path(__file__).parents[2] / "replay_logs" / "healthy.jsonl.gz"


def _run(script: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert done.stderr == ""
    return done.stdout


def test_check_loads_no_units() -> None:
    """Checking a session assembles frames without the units library or a plotter."""
    script = f"""
import sys
from pathlib import Path
from bankwise.adapters.session_file import read_session
from bankwise.adapters.analysis import analyse
found = analyse(read_session(Path({str(SHIPPED)!r})))
assert len(found.columns["rpm"]) > 1000
heavy = "pint", "obd.obd", "obd.commands", "matplotlib", "scipy", "polars", "textual"
print([name for name in heavy if name in sys.modules])
"""
    assert _run(script) == "[]\n"


def test_the_package_is_whole_for_others() -> None:
    """Whoever asks python-OBD for more afterwards gets all of it."""
    script = """
import bankwise.adapters.frames
import obd
assert obd.commands.RPM.command == b"010C"
from obd.protocols import ISO_15765_4_11bit_500k
from bankwise.adapters.python_obd import protocols
assert obd.protocols is protocols
assert protocols.ISO_15765_4_11bit_500k is ISO_15765_4_11bit_500k
try:
    obd.no_such_name
except AttributeError:
    print("whole")
"""
    assert _run(script) == "whole\n"


def test_a_loaded_package_is_taken_as_it_is() -> None:
    """When python-OBD is loaded already, its own modules are used."""
    script = """
import obd
before = obd.protocols.ISO_9141_2
from bankwise.adapters.python_obd import protocols
assert protocols.ISO_9141_2 is before
print(obd.OBD.__name__)
"""
    assert _run(script) == "OBD\n"
