"""The dialogue gives the same reply whole, byte by byte, and with noise around it."""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bankwise.adapters.dialogue import (
    GARBLED,
    MOST_BYTES,
    NO_ANSWER,
    NO_PROMPT,
    Dialogue,
    Reply,
)
from bankwise.adapters.troubles import TROUBLES, Reaction

FRAME = "7E804410C1AF8"


def talk(asked: str, data: bytes, chunk: int = 0, seed: int = 0) -> Reply:
    """The reply to `asked` when `data` comes in chunks; 0 means whole."""
    dialogue = Dialogue()
    dialogue.begin(asked)
    rng = Random(seed)
    at = 0
    while at < len(data):
        size = chunk if chunk > 0 else (len(data) if chunk == 0 else rng.randint(1, 7))
        reply = dialogue.feed(data[at : at + size])
        at += size
        if reply is not None:
            return reply
    return dialogue.give_up()


CASES: dict[str, tuple[str, bytes, tuple[str, ...], str | None]] = {
    "plain": ("010C", b"7E804410C1AF8\r\r>", (FRAME,), None),
    "spaces": ("010C", b"7E8 04 41 0C 1A F8 \r\r>", (FRAME,), None),
    "line feeds": ("010C", b"7E804410C1AF8\r\n\r\n>", (FRAME,), None),
    "bare line feed": ("010C", b"\n7E804410C1AF8\n>", (FRAME,), None),
    "doubled returns": ("010C", b"\r\r7E804410C1AF8\r\r\r\r>", (FRAME,), None),
    "echo": ("010C", b"010C\r7E804410C1AF8\r\r>", (FRAME,), None),
    "echo with digit": ("010C1", b"010C1\r7E804410C1AF8\r\r>", (FRAME,), None),
    "NUL bytes": ("010C", b"\x007E8\x0004410C\x001AF8\r\x00\r>", (FRAME,), None),
    "small letters": ("010C", b"7e804410c1af8\r\r>", (FRAME,), None),
    "searching line": ("0100", b"SEARCHING...\r7E804410C1AF8\r\r>", (FRAME,), None),
    "searching prefix": ("0100", b"SEARCHING...7E804410C1AF8\r\r>", (FRAME,), None),
    "bus init": ("0100", b"BUS INIT: ...OK\r86F1104100BE3FA8134D\r\r>",
                 ("86F1104100BE3FA8134D",), None),
    "bus init short": ("0100", b"BUS INIT: OK\r86F1104100BE3FA8134D\r\r>",
                       ("86F1104100BE3FA8134D",), None),
    "bus init fails": ("0100", b"BUS INIT: ...ERROR\r\r>", (), "BUS INIT: ...ERROR"),
    "unable": ("0100", b"SEARCHING...\rUNABLE TO CONNECT\r\r>", (),
               "UNABLE TO CONNECT"),
    "unable, one line": ("0100", b"SEARCHING...UNABLE TO CONNECT\r\r>", (),
                         "UNABLE TO CONNECT"),
    "no data": ("010C", b"NO DATA\r\r>", (), "NO DATA"),
    "bus busy": ("010C", b"BUS BUSY\r\r>", (), "BUS BUSY"),
    "bus error": ("010C", b"BUS ERROR\r\r>", (), "BUS ERROR"),
    "fb error": ("010C", b"FB ERROR\r\r>", (), "FB ERROR"),
    "can error": ("010C", b"CAN ERROR\r\r>", (), "CAN ERROR"),
    "data error": ("010C", b"DATA ERROR\r\r>", (), "DATA ERROR"),
    "damaged line": ("010C", b"7E804410C1AF8 <DATA ERROR\r\r>",
                     ("7E804410C1AF8<DATAERROR",), "DATA ERROR"),
    "damaged frame": ("010C", b"7E804410C1AF8 <RX ERROR\r\r>",
                      ("7E804410C1AF8<RXERROR",), "RX ERROR"),
    "buffer full": ("010C", b"7E804410C1AF8\rBUFFER FULL\r\r>", (FRAME,),
                    "BUFFER FULL"),
    "alert before": ("010C", b"ACT ALERT\r7E804410C1AF8\r\r>", (FRAME,), None),
    "alert after": ("010C", b"7E804410C1AF8\r!ACT ALERT\r\r>", (FRAME,), None),
    "sleep alert": ("010C", b"LP ALERT\r7E804410C1AF8\r\r>", (FRAME,), None),
    "low voltage": ("010C", b"LV RESET\r\r>", (), "LV RESET"),
    "can fault": ("010C", b"ERR94\r\r>", (), "ERR94"),
    "other fault": ("010C", b"ERR71\r\r>", (), "ERR71"),
    "stopped": ("010C", b"STOPPED\r\r>", (), "STOPPED"),
    "unknown": ("010C1", b"?\r\r>", (), "?"),
    "leftover prompt": ("010C", b"\r>7E804410C1AF8\r\r>", (FRAME,), None),
    "no prompt": ("010C", b"7E804410C1AF8\r\r", (FRAME,), None),
    "cut line": ("010C", b"7E804410C1AF8\r7E90441", (FRAME,), None),
    "nothing": ("010C", b"", (), NO_PROMPT),
    "half a line": ("010C", b"7E80441", (), NO_PROMPT),
}  # fmt: skip
"""What was asked, the bytes, the lines kept and the word."""


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("chunk", [0, 1, 3, -1])
def test_bytes_give_lines_and_word(name: str, chunk: int) -> None:
    """Each thing an adapter may say gives its lines and word, however it arrives."""
    asked, data, lines, word = CASES[name]
    reply = talk(asked, data, chunk)
    assert (reply.lines, reply.word) == (lines, word)
    assert reply.finished is data.endswith(b">")


def test_every_word_has_its_bytes_here() -> None:
    """No row of the table of troubles is without a case that says it."""
    said = {t.word for _, data, *_ in CASES.values() for t in talk("", data).troubles}
    rows = {row.word for row in TROUBLES}
    spelled_differently = {"BUS INIT: ...", "BUS INIT: ERROR", "ACT ALERT", "!LP ALERT"}
    assert rows - said <= spelled_differently


def test_greeting_is_recognised() -> None:
    """An adapter that greets unasked has restarted."""
    assert talk("010C", b"\r\rSIMOBD v1.0\r\r>").restarted
    assert not talk("010C", b"7E804410C1AF8\r\r>").restarted
    assert not talk("ATRV", b"12.4V\r\r>").restarted


def test_progress_is_seen_before_the_line_ends() -> None:
    """A search shows at once, so that the deadline can be longer."""
    dialogue = Dialogue()
    dialogue.begin("0100")
    dialogue.feed(b"SEARCH")
    assert not dialogue.in_progress
    dialogue.feed(b"ING...")
    assert dialogue.in_progress


def test_endless_line_ends_by_itself() -> None:
    """A flood without a prompt becomes one garbled reply, and memory stays small."""
    dialogue = Dialogue()
    dialogue.begin("0100")
    reply = None
    fed = 0
    while reply is None:
        reply = dialogue.feed(b"41" * 100)
        fed += 200
    assert fed <= MOST_BYTES + 200
    assert reply.word == GARBLED
    assert all(len(line) <= 128 for line in reply.lines)


def test_leftovers_are_counted_and_dropped() -> None:
    """Bytes after a prompt do not leak into the next reply."""
    dialogue = Dialogue()
    dialogue.begin("010C")
    assert dialogue.feed(b"7E804410C1AF8\r\r>7E8034105") is not None
    assert dialogue.begin("0105") == 9
    reply = dialogue.feed(b"7E803410564\r\r>")
    assert reply is not None
    assert reply.lines == ("7E803410564",)


@settings(max_examples=1500, deadline=None)
@given(st.binary(max_size=400), st.integers(-1, 5))
def test_any_bytes_give_a_reply(data: bytes, chunk: int) -> None:
    """Whatever comes, there is a reply, the same in any chunks, and no exception."""
    whole = talk("0100", data)
    assert talk("0100", data, chunk, seed=len(data)) == whole
    assert whole.word is None or isinstance(whole.word, str)
    assert whole.lines or whole.word is not None
    assert all(line.isprintable() and " " not in line for line in whole.lines)


@settings(max_examples=500, deadline=None)
@given(st.data())
def test_noise_never_becomes_a_line_of_the_answer(data: st.DataObject) -> None:
    """Control bytes between characters change nothing."""
    good = b"7E8100E410C1AF80678\r7E8210783087F098104\r\r>"
    noise = st.sampled_from([b"", b"", b"", b"\x00", b"\x01", b"\x7f", b"\x1b"])
    noisy = b"".join(
        bytes([byte]) + (data.draw(noise) if byte != 0x3E else b"") for byte in good
    )
    assert talk("010C0607", noisy).lines == talk("010C0607", good).lines


def test_only_spoiling_words_spoil() -> None:
    """Remarks and progress leave an answer usable; every other word does not."""
    for row in TROUBLES:
        reply = talk("010C", f"{row.word}\r{FRAME}\r\r>".encode())
        remark = row.reaction in (Reaction.WARN, Reaction.PROGRESS)
        assert (reply.word is None) is remark, row.word


def test_empty_reply_is_no_answer() -> None:
    """A prompt after a word that is only a remark is not an answer."""
    dialogue = Dialogue()
    dialogue.begin("010C")
    assert dialogue.feed(b"ACT ALERT\r\r>") is None
    assert dialogue.give_up().word in (NO_ANSWER, NO_PROMPT)
