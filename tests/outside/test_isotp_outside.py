"""Messages over several CAN frames against can-isotp.

Source: the can-isotp package, an independent implementation of ISO 15765-2: it cuts
messages into frames for us to join, and joins the same frames for comparison.
"""

from __future__ import annotations

import random
from collections import deque
from typing import Any

import isotp
import pytest

from bankwise.adapters.frames import Data, answers
from bankwise.adapters.records import Exchange

REQUEST_ID, ANSWER_ID = 0x7E0, 0x7E8
WIDE_REQUEST_ID, WIDE_ANSWER_ID = 0x18DA10F1, 0x18DAF110


def _talk(payload: bytes, wide: bool, padding: int | None) -> tuple[list[str], bytes]:
    """The frames that can-isotp sends for a message, and what it makes of them."""
    to_tester: deque[Any] = deque()
    to_unit: deque[Any] = deque()
    mode = isotp.AddressingMode.Normal_29bits if wide else None
    mode = mode or isotp.AddressingMode.Normal_11bits
    ids = (WIDE_ANSWER_ID, WIDE_REQUEST_ID) if wide else (ANSWER_ID, REQUEST_ID)
    params = {"stmin": 0, "tx_padding": padding, "blocking_send": False}
    seen: list[str] = []

    def say(message: Any) -> None:
        header = f"{message.arbitration_id:0{8 if wide else 3}X}"
        seen.append(header + bytes(message.data).hex().upper())
        to_tester.append(message)

    def next_of(queue: deque[Any]) -> Any:
        return queue.popleft() if queue else None

    unit = isotp.TransportLayerLogic(
        rxfn=lambda _: next_of(to_unit),
        txfn=say,
        address=isotp.Address(mode, txid=ids[0], rxid=ids[1]),
        params=params,
    )
    tester = isotp.TransportLayerLogic(
        rxfn=lambda _: next_of(to_tester),
        txfn=to_unit.append,
        address=isotp.Address(mode, txid=ids[1], rxid=ids[0]),
        params=params,
    )
    unit.send(payload)
    for _ in range(2000):
        unit.process()
        tester.process()
        joined = tester.recv()
        if joined is not None:
            return seen, bytes(joined)
    raise AssertionError("can-isotp did not finish")


def _payload(size: int) -> bytes:
    """A message that is no refusal and no code list, which are read further."""
    return b"\x41" + random.Random(size).randbytes(size - 1)


@pytest.mark.parametrize("padding", [None, 0x00, 0xAA])
@pytest.mark.parametrize("wide", [False, True])
@pytest.mark.parametrize(
    "size", [2, 6, 7, 8, 13, 14, 20, 27, 62, 63, 118, 119, 130, 400]
)
def test_joined_messages_agree(size: int, wide: bool, padding: int | None) -> None:
    """From one frame to more than the frame counter's sixteen, both join the same."""
    payload = _payload(size)
    lines, joined = _talk(payload, wide, padding)
    assert joined == payload
    exchange = Exchange(0.0, "0100", tuple(lines), 0.1)
    unit = f"{WIDE_ANSWER_ID:X}" if wide else f"{ANSWER_ID:X}"
    assert answers(exchange, "7" if wide else "6") == [Data(unit, payload)]


@pytest.mark.parametrize("size", [8, 20, 63, 130])
def test_any_lost_frame_voids_the_message(size: int) -> None:
    """Without any one of its frames, a message gives no data."""
    lines, _ = _talk(_payload(size), False, 0x00)
    for lost in range(len(lines)):
        kept = tuple(line for i, line in enumerate(lines) if i != lost)
        found = answers(Exchange(0.0, "0100", kept, 0.1), "6")
        assert not any(isinstance(answer, Data) for answer in found), lost


def test_the_published_example() -> None:
    """A VIN over three frames, printed in many public descriptions of ISO 15765-2."""
    lines = ("7E81014490201314734", "7E82141483539483435", "7E82247313138333431")
    payload = bytes.fromhex("490201") + b"1G4AH59H45G118341"
    assert answers(Exchange(0.0, "0902", lines, 0.1), "6") == [Data("7E8", payload)]
