"""The ladder and the frame digit learn from answers, and from silence when told."""

from __future__ import annotations

import pytest

from bankwise.adapters.adapter import Asked
from bankwise.adapters.batching import ABSENT_AFTER, FAILURES, RETRY_S, Batching, Rung
from bankwise.adapters.dialogue import Dialogue
from bankwise.adapters.records import Exchange

ENGINE = frozenset({0x0C, 0x0D, 0x14, 0x18, 0x06, 0x08, 0x05})
GEARBOX = frozenset({0x0D})
SIX = (0x0C, 0x0D, 0x14, 0x18, 0x06, 0x08)
FIRST = b"7E81010410C1AF80D00\r7E8211455FF1844FF06\r7E822800880000000\r"
OTHER = b"7E903410D00\r"


def said(request: str, data: bytes) -> Asked:
    """An exchange in which the adapter said these bytes."""
    dialogue = Dialogue()
    dialogue.begin(request)
    reply = dialogue.feed(data + b"\r>")
    assert reply is not None
    return Asked(Exchange(0.0, request, reply.lines, 0.02, reply.word), reply)


def rung_of(batching: Batching) -> Rung:
    """The rung now."""
    return batching.rung


def talk(
    batching: Batching, data: bytes, now: float = 0.0, pids: tuple[int, ...] = SIX
) -> str:
    """One request and its answer; gives the request."""
    request = batching.request(pids, now)
    batching.judge(pids, said(request, data), now)
    return request


@pytest.fixture(name="one")
def _one() -> Batching:
    """A vehicle with one unit on CAN."""
    return Batching({"7E8": ENGINE}, "6", can=True)


@pytest.fixture(name="two")
def _two() -> Batching:
    """A vehicle with an engine and a gearbox unit."""
    return Batching({"7E8": ENGINE, "7E9": GEARBOX}, "6", can=True)


def test_digit_is_used_once_it_was_seen_to_be_right(one: Batching) -> None:
    """The first request goes without; three frames came, so three are expected."""
    assert talk(one, FIRST) == "010C0D14180608"
    assert talk(one, FIRST) == "010C0D141806083"


def test_digit_counts_both_units(two: Batching) -> None:
    """Two units answer with four frames together."""
    talk(two, FIRST + OTHER)
    assert talk(two, FIRST + OTHER) == "010C0D141806084"


def test_digit_is_dropped_after_a_mismatch_and_comes_back(one: Batching) -> None:
    """A lost frame costs one request without the digit."""
    talk(one, FIRST)
    talk(one, b"7E81010410C1AF80D00\r7E8211455FF1844FF06\r")
    assert one.mismatches == 1
    assert talk(one, FIRST) == "010C0D14180608"
    assert talk(one, FIRST) == "010C0D141806083"


def test_digit_that_keeps_failing_is_left_out_for_a_minute(one: Batching) -> None:
    """Mismatch after mismatch with the digit turns it off, and later it is tried."""
    now = 0.0
    for _ in range(FAILURES):
        talk(one, FIRST, now)
        talk(one, b"7E81010410C1AF80D00\r", now)
    talk(one, FIRST, now)
    assert talk(one, FIRST, now) == "010C0D14180608"
    assert talk(one, FIRST, RETRY_S + 1) == "010C0D141806083"


def test_question_mark_strips_the_digit_then_the_many(one: Batching) -> None:
    """One `?` may be noise; the second costs the digit for good, then a rung."""
    talk(one, FIRST)
    assert talk(one, b"?\r").endswith("3")
    assert one.digit_known
    assert talk(one, FIRST) == "010C0D14180608"
    assert talk(one, b"?\r").endswith("3")
    assert not one.digit_known
    assert rung_of(one) is Rung.SIX
    talk(one, b"?\r")
    assert rung_of(one) is Rung.FRAME


def test_ladder_goes_down_and_is_climbed_again(one: Batching) -> None:
    """Incomplete answers take it down rung by rung; after a minute it is tried."""
    first_only = b"7E804410C1AF8\r"
    for _ in range(FAILURES):
        talk(one, first_only)
    assert rung_of(one) is Rung.FRAME
    assert not one.fits(SIX)
    assert one.fits((0x0C, 0x0D))
    for _ in range(FAILURES):
        talk(one, first_only, pids=(0x0C, 0x0D))
    assert rung_of(one) is Rung.ONE
    assert not one.fits((0x0C, 0x0D))
    talk(one, first_only, RETRY_S + 1, (0x0C,))
    assert rung_of(one) is Rung.FRAME
    # The first failure is blamed on the digit, the second on the rung.
    for _ in range(2):
        talk(one, first_only, RETRY_S + 2, (0x0C, 0x0D))
    assert rung_of(one) is Rung.ONE


def test_pid_that_is_never_given_is_blamed_and_not_the_form(one: Batching) -> None:
    """A unit that announces a PID and skips it costs that PID, not the rung."""
    lines = b"7E8100E410C1AF80D00\r7E8211455FF1844FF08\r7E82280\r"
    for _ in range(2 * FAILURES):
        judged = one.judge(SIX, said("010C0D14180608", lines), 0.0)
        assert judged.blamed == {0x06}
    assert rung_of(one) is Rung.SIX


def test_full_memory_asks_for_less_at_once(one: Batching) -> None:
    """BUFFER FULL takes a rung without waiting for more."""
    talk(one, FIRST[:20] + b"\rBUFFER FULL\r")
    assert rung_of(one) is Rung.FRAME


def test_silence_is_no_reason_until_the_vehicle_is_there(one: Batching) -> None:
    """An ignition turned off costs no rung; a silent form of request does."""
    talk(one, FIRST)
    for _ in range(10):
        talk(one, b"NO DATA\r")
    assert rung_of(one) is Rung.SIX
    one.vehicle_is_there(1.0)
    assert talk(one, b"NO DATA\r", 1.0) == "010C0D14180608"
    one.vehicle_is_there(1.0)
    assert rung_of(one) is Rung.FRAME


def test_unit_that_left_is_not_waited_for(two: Batching) -> None:
    """A gearbox that stops answering does not pull the engine's rate down."""
    talk(two, FIRST + OTHER)
    for _ in range(2 * ABSENT_AFTER):
        talk(two, FIRST, 0.0)
    assert talk(two, FIRST, RETRY_S + 1) == "010C0D141806083"
    assert rung_of(two) is Rung.SIX
    talk(two, FIRST + OTHER, RETRY_S + 2)
    talk(two, FIRST + OTHER, RETRY_S + 2)
    assert talk(two, FIRST + OTHER, RETRY_S + 2) == "010C0D141806084"


def test_wait_and_busy_are_asked_again(one: Batching) -> None:
    """7F xx 78 and 7F xx 21 mean later, other refusals are typed."""
    for code, again in ((0x78, True), (0x21, True), (0x12, False)):
        judged = one.judge(SIX, said("010C", f"7E8037F01{code:02X}\r".encode()), 0.0)
        assert judged.again is again
        assert judged.refused == (code,)


def test_j1850_pwm_learns_each_pid_before_its_digit() -> None:
    """On PWM, where a low digit does harm, each PID is first seen without it."""
    pwm = Batching({"10": ENGINE}, "1", can=False)
    rpm = b"416B10410C1AF8"
    from bankwise.adapters.frames import j1850_crc

    line = rpm + f"{j1850_crc(bytes.fromhex(rpm.decode())):02X}\r".encode()
    assert talk(pwm, line, pids=(0x0C,)) == "010C"
    assert talk(pwm, line, pids=(0x0C,)) == "010C1"
    assert pwm.request((0x0D,), 0.0) == "010D"
