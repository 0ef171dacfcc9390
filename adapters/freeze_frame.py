"""Freeze frames (service 02): the conditions a control unit kept with a code.

An answer repeats PID and frame number before each value. python-OBD's own command
sends no frame number and misreads the answer, so it is not used here.
"""

from __future__ import annotations

from collections.abc import Sequence

from bankwise.adapters.code_reading import code_name
from bankwise.adapters.pids import PIDS, Layout, decode_one
from bankwise.signals.evidence import FreezeFrame

CODE_PID = 0x02


def pieces(payload: bytes) -> list[tuple[int, int, bytes]] | None:
    """(PID, frame number, data) triples of one answer; None when lengths disagree.

    Args:
        payload: from the service byte `42` on.
    """
    out: list[tuple[int, int, bytes]] = []
    i = 1
    while i < len(payload):
        pid = PIDS.get(payload[i])
        if pid is None or i + 2 + pid.length > len(payload):
            return None
        out.append((payload[i], payload[i + 1], payload[i + 2 : i + 2 + pid.length]))
        i += 2 + pid.length
    return out


def freeze_frames(
    unit: str, triples: Sequence[tuple[int, int, bytes]], layout: Layout
) -> tuple[FreezeFrame, ...]:
    """One unit's frames out of all its pieces, in order of frame number."""
    codes: dict[int, str | None] = {}
    values: dict[int, dict[str, float]] = {}
    for number, frame, data in triples:
        if number == CODE_PID:
            codes[frame] = code_name(*data) if any(data) else None
            continue
        values.setdefault(frame, {}).update(decode_one(number, data, layout))
    # A frame that no code set is empty: what stands in it is left over.
    values |= {frame: {} for frame, code in codes.items() if code is None}
    return tuple(
        FreezeFrame(unit, frame, codes.get(frame), values.get(frame, {}))
        for frame in sorted(codes.keys() | values.keys())
    )
