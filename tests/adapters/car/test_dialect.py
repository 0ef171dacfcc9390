"""The adapter's dialect, byte for byte, and its timing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bankwise.adapters.car.evidence import Fixed
from bankwise.adapters.car.quirks import (
    ADAPTERS,
    Digit,
    ManyPids,
    Mishap,
    Quirks,
    Trouble,
)
from bankwise.adapters.car.timing import LINKS
from bankwise.adapters.car.unit import Manners

Build = Callable[..., Any]


def test_after_power_on_it_echoes_and_names_itself(bench: Build) -> None:
    """AT Z echoes, waits, and prints two empty lines and the banner."""
    b = bench()
    assert b.ask("atz") == b"atz\r\r\rSIMOBD v1.0\r\r>"
    assert b.ask("AT E0") == b"AT E0\rOK\r\r>"
    assert b.ask("ATI") == b"SIMOBD v1.0\r\r>"
    assert b.ask("AT@1") == b"SIMULATED OBD ADAPTER\r\r>"
    assert b.ask("ATRV") == b"14.1V\r\r>"


def test_line_feeds_follow_returns_when_asked_for(bench: Build) -> None:
    """AT L1 makes every line end with both."""
    b = bench()
    assert b.ask("ATL1") == b"ATL1\rOK\r\n\r\n>"
    assert b.ask("ATE0") == b"ATE0\r\nOK\r\n\r\n>"


@pytest.mark.parametrize(
    "text", ["ATXX", "HELLO", "01G0", "ATSP", "AT E2", "AT ST 1", "0", "\x7f\x7f"]
)
def test_what_it_does_not_know_gets_a_question_mark(bench: Build, text: str) -> None:
    """Unknown commands and text that is not hexadecimal give `?`."""
    b = bench()
    b.quiet("ATE0")
    assert b.ask(text) == b"?\r\r>"


def test_the_first_request_searches(bench: Build) -> None:
    """SEARCHING... comes first, then the answer; afterwards the protocol is known."""
    b = bench()
    b.quiet("ATE0")
    assert b.ask("ATDP") == b"AUTO\r\r>"
    assert b.ask("ATDPN") == b"A0\r\r>"
    assert b.ask("010C") == b"SEARCHING...\r41 0C 0C 1C \r\r>"
    assert b.ask("010C") == b"41 0C 0C 1C \r\r>"
    assert b.ask("ATDP") == b"AUTO, ISO 15765-4 (CAN 11/500)\r\r>"
    assert b.ask("ATDPN") == b"A6\r\r>"


def test_headers_and_spaces(bench: Build) -> None:
    """With headers a CAN frame shows identifier, length byte and data."""
    b = bench()
    b.quiet("ATE0", "ATTP6")
    assert b.ask("010C") == b"41 0C 0C 1C \r\r>"
    b.quiet("ATH1")
    assert b.ask("010C") == b"7E8 04 41 0C 0C 1C \r\r>"
    b.quiet("ATS0")
    assert b.ask("01 0c") == b"7E804410C0C1C\r\r>"
    b.quiet("ATD1")
    assert b.ask("010C") == b"7E8804410C0C1C\r\r>"


def test_long_answers_with_and_without_headers(bench: Build) -> None:
    """Frames with headers; a length line and numbered lines without."""
    b = bench()
    b.quiet("ATE0", "ATTP6", "ATS0")
    assert b.ask("0902") == (
        b"014\r0:490201314D38\r1:47444D3941584B\r2:50303432373838\r\r>"
    )
    b.quiet("ATH1")
    assert b.ask("0902") == (
        b"7E81014490201314D38\r7E82147444D3941584B\r7E82250303432373838\r\r>"
    )


def test_29_bit_headers_are_four_bytes(bench: Build) -> None:
    """Protocol 7 prints 18 DA F1 10."""
    b = bench("7")
    b.quiet("ATE0", "ATTP7", "ATH1")
    assert b.ask("010C") == b"18 DA F1 10 04 41 0C 0C 1C \r\r>"


@pytest.mark.parametrize(
    ("number", "first", "expected"),
    [
        ("1", b"", b"41 6B 10 41 05 7B "),
        ("2", b"", b"48 6B 10 41 05 7B "),
        ("3", b"BUS INIT: ...OK\r", b"48 6B 10 41 05 7B "),
        ("4", b"BUS INIT: ...OK\r", b"83 F1 10 41 05 7B "),
        ("5", b"BUS INIT: OK\r", b"83 F1 10 41 05 7B "),
    ],
)
def test_older_protocols_show_header_data_and_check_byte(
    bench: Build, number: str, first: bytes, expected: bytes
) -> None:
    """The K-line is woken first; the check byte comes last."""
    b = bench(number)
    b.quiet("ATE0", f"ATTP{number}", "ATH1")
    said = b.ask("0105")
    assert said.startswith(first + expected)
    assert b.ask("0105").startswith(expected)
    b.quiet("ATH0")
    assert b.ask("0105") == b"41 05 7B \r\r>"


def test_a_k_line_left_alone_has_to_be_woken_again(bench: Build) -> None:
    """Without keep-alive messages five idle seconds end the connection."""
    b = bench("5")
    b.quiet("ATE0", "ATTP5", "ATSW00")
    b.ask("0105")
    b.t += 4
    assert b.ask("0105") == b"41 05 7B \r\r>"
    b.t += 6
    assert b.ask("0105") == b"BUS INIT: OK\r41 05 7B \r\r>"
    b.quiet("ATSW92")
    b.t += 60
    assert b.ask("0105") == b"41 05 7B \r\r>"


def test_a_bare_return_repeats_the_last_command(bench: Build) -> None:
    """Also an AT command is repeated."""
    b = bench()
    b.quiet("ATE0", "ATTP6")
    assert b.ask("010C") == b.ask("")
    assert b.ask("ATDPN") == b.ask("") == b"6\r\r>"


def test_the_digit_ends_the_wait(bench: Build) -> None:
    """Without a digit the adapter waits on; with it the prompt comes at once."""
    b = bench()
    b.quiet("ATE0", "ATTP6", "ATAT0")
    answer = b.ask("010C")
    assert b.ask("010C1") == answer
    assert b.seconds("010C") == pytest.approx(0.22, abs=0.01)
    assert b.seconds("010C1") == pytest.approx(0.016, abs=0.004)
    b.quiet("ATST08")
    assert b.seconds("010C") == pytest.approx(0.048, abs=0.005)
    assert b.seconds("010B") == pytest.approx(0.037, abs=0.003)
    b.quiet("ATST32", "ATAT1")
    adaptive = b.seconds("010C")
    b.quiet("ATAT2")
    assert 0.02 < b.seconds("010C") < adaptive < 0.07


def test_too_small_a_digit_cuts_the_answer(bench: Build) -> None:
    """Two of three frames come; the third does not turn up later."""
    b = bench()
    b.quiet("ATE0", "ATTP6", "ATS0", "ATH1")
    assert b.ask("01060C0D0514182").count(b"7E8") == 2
    b.t += 1
    assert b.ask("010D1") == b"7E803410D00\r\r>"


def test_a_count_of_ten_is_a_data_byte(bench: Build) -> None:
    """`090410` asks for two items and not for one with sixteen frames."""
    b = bench()
    b.quiet("ATE0", "ATTP6", "ATSH7E0", "ATH1")
    assert b.ask("090410") == b"7E8 03 7F 09 12 \r\r>"


def test_two_units_answer_in_turn(bench: Build) -> None:
    """Both answer what both support, and frames of long answers may mingle."""
    b = bench(two_units=True)
    b.quiet("ATE0", "ATTP6", "ATS0", "ATH1")
    assert sorted(b.ask("010D").split(b"\r")[:2]) == [
        b"7E803410D00",
        b"7E903410D00",
    ]
    mingled = 0
    for _ in range(40):
        lines = b.ask("0904").split(b"\r")[:-2]
        assert len(lines) == 6
        for unit in (b"7E8", b"7E9"):
            own = [line[3:5] for line in lines if line.startswith(unit)]
            assert own == [b"10", b"21", b"22"]
        mingled += [line[:3] for line in lines] not in (
            [b"7E8"] * 3 + [b"7E9"] * 3,
            [b"7E9"] * 3 + [b"7E8"] * 3,
        )
    assert mingled


def test_a_header_and_a_filter_choose_one_unit(bench: Build) -> None:
    """AT SH 7E1 asks one unit; AT CRA shows one unit's frames."""
    b = bench(two_units=True)
    b.quiet("ATE0", "ATTP6", "ATS0", "ATH1", "ATSH7E1")
    assert b.ask("010D") == b"7E903410D00\r\r>"
    b.quiet("ATSH7DF", "ATCRA7E8")
    assert b.ask("010D") == b"7E803410D00\r\r>"
    b.quiet("ATCRA7EX")
    assert b.ask("010D").count(b"7E") == 2
    b.quiet("ATAR")
    assert b.ask("010D").count(b"7E") == 2


def test_any_byte_interrupts_a_request(bench: Build) -> None:
    """The answer under way is taken back, STOPPED and a prompt come instead."""
    b = bench()
    b.quiet("ATE0", "ATTP6", "ATAT0")
    b.adapter.receive(b"010C\r", b.t)
    assert b.adapter.receive(b" ", b.t + 0.006)
    assert b.ask("", end=b"") == b"STOPPED\r\r>"
    b.t += 0.05
    assert b.ask("0105") == b"41 05 7B \r\r>"
    b.adapter.receive(b"0105\r", b.t)
    b.t += 0.1
    assert b.adapter.take(b.t) == b"41 05 7B \r"
    assert b.ask(" ", end=b"") == b"STOPPED\r\r>"


def test_a_space_at_rest_does_nothing(bench: Build) -> None:
    """Nothing is said, and the next request is as usual."""
    b = bench()
    b.quiet("ATE0", "ATTP6")
    assert b.ask("  ", end=b"") == b""
    assert b.ask("0105") == b"41 05 7B \r\r>"


def test_what_arrives_after_an_interruption_is_stale(bench: Build) -> None:
    """An answer that comes after the next request shows up in it."""
    b = bench(manners=Manners(pending_s={0x09: 0.3}))
    b.quiet("ATE0", "ATTP6", "ATS0", "ATH1")
    b.adapter.receive(b"0900\r", b.t)
    b.t += 0.290
    b.ask(" ", end=b"")
    b.t += 0.010
    said = b.ask("0105")
    assert b"7E806490054400000" in said
    assert b"7E80341057B" in said


def test_patience_after_a_pending_answer(bench: Build) -> None:
    """7F 09 78 is shown and the answer waited for, unless the adapter cannot."""
    memory = {"manners": Manners(pending_s={0x09: 1.0})}
    b = bench(**memory)
    b.quiet("ATE0", "ATTP6", "ATS0")
    assert b.ask("0900") == b"7F0978\r490054400000\r\r>"
    assert b.seconds("09003") > 1
    hasty = bench(**memory, quirks=Quirks(waits_for_pending=False))
    hasty.quiet("ATE0", "ATTP6", "ATS0")
    assert hasty.ask("0900") == b"7F0978\r\r>"


def test_ignition_off_is_heard_as_silence(bench: Build) -> None:
    """Searching ends in vain; a known protocol gives an error word; RV still works."""
    b = bench()
    b.quiet("ATE0")
    b.car.key_on = False
    assert b.ask("0100") == b"SEARCHING...\rUNABLE TO CONNECT\r\r>"
    b.quiet("ATTP6")
    assert b.ask("0100") == b"CAN ERROR\r\r>"
    b.car.key_on = True
    assert b.ask("0105") == b"41 05 7B \r\r>"
    older = bench("3")
    older.quiet("ATE0", "ATTP3")
    older.car.key_on = False
    assert older.ask("0100") == b"BUS INIT: ...ERROR\r\r>"


@pytest.mark.parametrize(
    ("chosen", "expected"),
    [("3", b"BUS INIT: ...ERROR"), ("1", b"NO DATA"), ("7", b"NO DATA"),
     ("8", b"CAN ERROR"), ("A", b"CAN ERROR")],
)  # fmt: skip
def test_a_wrong_protocol_fails_in_its_own_words(
    bench: Build, chosen: str, expected: bytes
) -> None:
    """The car speaks protocol 6 and the adapter is told another."""
    b = bench()
    b.quiet("ATE0", f"ATTP{chosen}")
    assert b.ask("0100") == expected + b"\r\r>"
    assert b.ask("ATDPN") == chosen.encode() + b"\r\r>"


def test_requests_are_at_most_seven_bytes(bench: Build) -> None:
    """Six PIDs and a digit pass, seven PIDs do not."""
    b = bench()
    b.quiet("ATE0", "ATTP6")
    assert b.ask("01050C0D1415183") != b"?\r\r>"
    assert b.ask("01050C0D141518063") == b"?\r\r>"


def test_quirks_of_lesser_adapters(bench: Build) -> None:
    """Each deviation shows where it should and nowhere else."""
    b = bench(quirks=Quirks(digit=Digit.REFUSED_WITH_MANY))
    b.quiet("ATE0", "ATTP6", "ATS0")
    assert b.ask("01051") == b"41057B\r\r>"
    assert b.ask("0105061") == b"?\r\r>"
    assert b.ask("010506") == b"41057B0680\r\r>"
    b = bench(quirks=Quirks(many_pids=ManyPids.FIRST_ONLY, digit=Digit.IGNORED))
    b.quiet("ATE0", "ATTP6", "ATS0")
    assert b.ask("0105061") == b"41057B\r\r>"
    b = bench(quirks=ADAPTERS["poor"])
    assert b.ask("ATE0").replace(b"\0", b"") == b"ATE0\r\nOK\r\n\r\n>"
    assert b.ask("ATL0").replace(b"\0", b"") == b"ATL0\r\n?\r\n\r\n>"
    b = bench(quirks=Quirks(hides_headers=True, keeps_spaces=True, prompts=0.0))
    assert b.ask("ATE0") == b"ATE0\rOK\r"
    assert b.ask("ATTP6") == b.ask("ATH1") == b.ask("ATS0") == b"OK\r"
    assert b.ask("0105") == b"41 05 7B \r"
    b = bench(quirks=Quirks(shows_padding=True, agrees_to_anything=True))
    b.quiet("ATE0", "ATTP6", "ATH1", "ATQQ")
    assert b.ask("0105") == b"7E8 03 41 05 7B 00 00 00 00 \r\r>"


INSTEAD = ["NO DATA", "CAN ERROR", "BUS ERROR", "BUS BUSY", "FB ERROR", "?", "STOPPED",
           "BUS INIT: ...ERROR", "UNABLE TO CONNECT", "DATA ERROR"]  # fmt: skip


@pytest.mark.parametrize("words", INSTEAD)
def test_a_mishap_comes_instead_of_an_answer_once(bench: Build, words: str) -> None:
    """The chosen request gets the word; the next is well again."""
    b = bench(trouble=Trouble(at={1: Mishap(words)}))
    b.quiet("ATE0", "ATTP6", "ATS0")
    assert b.ask("0105") == b"41057B\r\r>"
    assert b.ask("0105") == words.encode() + b"\r\r>"
    assert b.ask("0105") == b"41057B\r\r>"


def test_mishaps_spoil_frames_and_lines(bench: Build) -> None:
    """Each spoils one answer in its own way."""
    plain = b"7E81014490201314D38\r7E82147444D3941584B\r7E82250303432373838\r"

    def spoiled(mishap: Mishap) -> bytes:
        b = bench(trouble=Trouble(at={0: mishap}, seed=3))
        b.quiet("ATE0", "ATTP6", "ATS0", "ATH1")
        said: bytes = b.ask("0902")
        b.t += 1
        assert b.ask("0902") == plain + b"\r>"
        return said

    assert spoiled(Mishap.LOST_FRAME).count(b"7E8") == 2
    assert spoiled(Mishap.DOUBLED_FRAME).count(b"7E8") == 4
    swapped = spoiled(Mishap.SWAPPED_FRAMES)
    assert swapped != plain + b"\r>"
    assert sorted(swapped.split(b"\r")) == sorted((plain + b"\r>").split(b"\r"))
    assert len(spoiled(Mishap.FOREIGN_FRAME).split(b"\r")) == 6
    flipped = spoiled(Mishap.BIT_FLIP)
    wrong = sum(a != b for a, b in zip(flipped, plain + b"\r>", strict=True))
    assert wrong == 1
    assert len(spoiled(Mishap.CUT_LINE)) < len(plain + b"\r>")
    assert b"<DATA ERROR\r" in spoiled(Mishap.LINE_DATA_ERROR)
    assert b"<RX ERROR\r" in spoiled(Mishap.LINE_RX_ERROR)
    assert spoiled(Mishap.ACT_ALERT) == b"!ACT ALERT\r" + plain + b"\r>"
    assert spoiled(Mishap.ECHO) == b"0902\r" + plain + b"\r>"
    assert spoiled(Mishap.NO_PROMPT) == plain
    assert b"\0\0" in spoiled(Mishap.NULS)
    junk = spoiled(Mishap.HEX_JUNK).split(b"\r")[0]
    assert len(junk) % 2 == 1
    assert len(spoiled(Mishap.ENDLESS_LINE)) > 10_000


def test_a_frame_of_the_last_answer_comes_along(bench: Build) -> None:
    """A stale frame stands before the answer."""
    b = bench(trouble=Trouble(at={1: Mishap.STALE_FRAME}))
    b.quiet("ATE0", "ATTP6", "ATS0")
    assert b.ask("0105") == b"41057B\r\r>"
    assert b.ask("010C") == b"41057B\r410C0C1C\r\r>"


def test_every_mishap_happens(bench: Build) -> None:
    """None of them leaves an exchange as it was."""
    for mishap in Mishap:
        b = bench(trouble=Trouble(at={1: mishap}, seed=1))
        b.quiet("ATE0", "ATTP6", "ATS0", "ATH1")
        b.ask("010C")
        b.t += 1
        plain = bench()
        plain.quiet("ATE0", "ATTP6", "ATS0", "ATH1")
        assert b.ask("0902") != plain.ask("0902"), mishap


def test_a_reset_loses_the_settings(bench: Build) -> None:
    """After LV RESET echo is on, and CAN is not searched until a proper reset."""
    b = bench(trouble=Trouble(at={0: Mishap.LV_RESET}))
    b.quiet("ATE0")
    assert b.ask("0105") == b"LV RESET\r\r>"
    assert b.ask("0105") == b"0105\rSEARCHING...\rUNABLE TO CONNECT\r\r>"
    b.ask("ATZ")
    assert b.ask("0105") == b"0105\rSEARCHING...\r41 05 7B \r\r>"


def test_a_silent_adapter_can_be_woken(bench: Build) -> None:
    """It says nothing for ever, until a byte interrupts it."""
    b = bench()
    b.quiet("ATE0", "ATTP6")
    b.adapter.inject(Mishap.SILENCE)
    assert b.ask("0105") == b""
    b.t += 100
    assert b.ask(" ", end=b"") == b"STOPPED\r\r>"
    assert b.ask("0105") == b"41 05 7B \r\r>"


def test_the_buffer_overflows_on_a_slow_line(bench: Build) -> None:
    """A long answer at 9600 with a small buffer ends in BUFFER FULL."""
    codes = tuple(f"P{i:04d}" for i in range(100, 200))
    slow = replace(LINKS["usb-38400"], baud=9600)
    b = bench(evidence=Fixed(stored=codes), link=slow)
    b.quiet("ATE0", "ATTP6", "ATH1")
    assert b.ask("03").endswith(b"BUFFER FULL\r\r>")
    fast = bench(evidence=Fixed(stored=codes), link=LINKS["usb-500000"])
    fast.quiet("ATE0", "ATTP6", "ATH1")
    assert fast.ask("03").count(b"\r") == 30


@pytest.mark.parametrize(
    ("link", "single", "six"),
    [("usb-38400", 49, 170), ("usb-115200", 60, 276), ("usb-500000", 65, 362),
     ("bluetooth-20ms-38400", 26, 112), ("bluetooth-30ms-115200", 22, 119)],
)  # fmt: skip
def test_the_limits_are_those_of_the_timing_model(
    bench: Build, link: str, single: int, six: int
) -> None:
    """One and six PIDs a request come within 6 % of the limit worked out by hand."""
    b = bench(link=LINKS[link])
    b.quiet("ATE0", "ATTP6", "ATS0", "ATH1")
    rounds = 200
    one = rounds / sum(b.seconds("010C1") for _ in range(rounds))
    assert one == pytest.approx(single, rel=0.06)
    many = 6 * rounds / sum(b.seconds("01060C0D0514183") for _ in range(rounds))
    assert many == pytest.approx(six, rel=0.06)


@pytest.mark.parametrize(
    ("number", "low", "high"),
    [("1", 15, 20), ("2", 10, 15), ("3", 5, 10), ("4", 5, 10), ("5", 5, 10)],
)
def test_older_protocols_are_as_slow_as_expected(
    bench: Build, number: str, low: int, high: int
) -> None:
    """Answers a second with the digit are within what is said of each protocol."""
    b = bench(number)
    b.quiet("ATE0", f"ATTP{number}", "ATS0", "ATH1")
    b.ask("0105")
    rate = 50 / sum(b.seconds("010C1") for _ in range(50))
    assert low <= rate <= high


@given(
    st.lists(st.tuples(st.binary(max_size=40), st.floats(0, 0.5)), max_size=12),
    st.sampled_from(sorted(ADAPTERS)),
)
@settings(
    max_examples=200,
    deadline=None,
    # The fixture is a function that builds; it keeps nothing.
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_no_input_upsets_it(
    bench: Build, chunks: list[tuple[bytes, float]], name: str
) -> None:
    """Any bytes at any time: no exception, output in order, and it still answers."""
    b = bench(quirks=ADAPTERS[name])
    for data, pause in chunks:
        b.t += pause
        due = [at for at, _ in b.adapter.receive(data, b.t)]
        assert due == sorted(due)
        b.adapter.take(b.t)
    b.t += 20
    b.ask(" ", end=b"")
    b.t += 20
    b.ask("", end=b"\r")
    b.t += 20
    assert b"SIMOBD" in b.ask("ATI") or name == "drops-prompts"
