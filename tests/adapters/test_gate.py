"""The gate lets reads through and nothing else, whatever it is given."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bankwise.adapters import gate
from bankwise.adapters.errors import GateRefused
from bankwise.adapters.gate import (
    RESYNC,
    ClearConditions,
    ClearToken,
    Listed,
    Permitted,
    clear_token,
    permit,
    permit_clear,
    wire,
)
from bankwise.adapters.link import PortLink

READ_SERVICES = {0x01, 0x02, 0x03, 0x06, 0x07, 0x09, 0x0A, 0x19, 0x22}
HARMFUL_COMMANDS = (
    "PP", "SP", "SS", "CV", "MA", "MP", "MR", "MT", "SD", "WM", "IIA", "BRD", "BRT",
    "SR", "RA", "TA", "FCSD", "FCSH", "FCSM", "CRA7", "CM", "CF", "STP", "SI", "FI",
    "@2", "@3", "LP", "KW0", "IB", "CEA", "CER", "PB", "CP", "V1", "JTM", "DM1",
)  # fmt: skip
CONDITIONS = ClearConditions(engine_rpm=0.0, snapshot_saved=True, confirmed=True)


class Port:
    """Stands where pyserial's port is and keeps every byte."""

    def __init__(self) -> None:
        self.written = bytearray()

    def write(self, data: bytes) -> int:
        """Keeps the bytes."""
        self.written += data
        return len(data)


@pytest.fixture(name="link")
def _link() -> PortLink:
    """A port link that writes into memory."""
    link = PortLink("loop://")
    link._port = Port()
    return link


def harmless(text: str) -> bool:
    """An opinion of its own on what may be sent: by service, not by pattern."""
    if text.startswith("AT"):
        return not text[2:].startswith(HARMFUL_COMMANDS) and text != "AT"
    if not re.fullmatch("[0-9A-F]{2,15}", text):
        return False
    return int(text[:2], 16) in READ_SERVICES


HEX = "0123456789ABCDEF"
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789@"
TEXTS = st.one_of(
    st.text(max_size=20),
    st.text(HEX, max_size=16),
    st.text("0123456789ABCDEFabcdef \r\n\x00>", max_size=16),
    st.builds("AT{}".format, st.text(LETTERS, max_size=9)),
    st.builds("{:02X}{}".format, st.integers(0, 255), st.text(HEX, max_size=13)),
    st.sampled_from([f"AT{word}" for word in HARMFUL_COMMANDS]),
)  # fmt: skip


@settings(max_examples=3000, deadline=None)
@given(TEXTS)
def test_nothing_harmful_passes(text: str) -> None:
    """Of thousands of texts only harmless ones pass, one carriage return at the end."""
    try:
        data = wire(permit(text))
    except GateRefused:
        return
    assert harmless(text)
    assert data == text.encode("ascii") + b"\r"
    assert len(text) >= 2


@pytest.mark.parametrize(
    "text",
    [
        "", "\r", " ", "04", "04\r", "041", "14FFFF33", "14FFFFFF", "0C", "08", "0801",
        "05", "10", "1003", "1101", "2701", "2EF190", "2F", "31010203", "3E00", "85",
        "22F190", "22ABCD", "2101", "0104\r04", "01 04", "010c", "0100000000000000",
        "ATSP6", "ATPP2CSV01", "ATPP0COFF", "ATMA", "ATCV1234", "ATZ\r04", "ATSH7E8",
        "ATSH000", "ATSTFFF", "ATTPB", "AT", "ATH0", "at z", "0", "１０",
    ],
)  # fmt: skip
def test_known_harmful_texts_are_refused(text: str) -> None:
    """Clearing, control, programming, stored settings and odd spellings are refused."""
    with pytest.raises(GateRefused):
        permit(text)


@pytest.mark.parametrize(
    "text",
    ["0100", "010C", "0106070809140C", "01060708091403", "020C00", "03", "07", "0A",
     "0902", "0600", "22F40C", "22F40CF40DF4053", "194233081E"[:10], "ATZ", "ATRV",
     "ATTP0", "ATTPA6", "ATSH7E0", "ATAT1", "ATST19"],
)  # fmt: skip
def test_reads_pass(text: str) -> None:
    """Reads and harmless commands leave with one carriage return."""
    assert wire(permit(text)) == text.encode() + b"\r"


def test_resync_is_one_space_alone() -> None:
    """The resync has no carriage return, which would repeat the last command."""
    assert wire(RESYNC) == b" "


@settings(max_examples=500, deadline=None)
@given(st.one_of(st.binary(max_size=16), st.text(max_size=16), st.none()))
def test_link_takes_only_what_the_gate_made(thing: object) -> None:
    """Bytes, text or anything else given to a link never reach the port."""
    link = PortLink("loop://")
    port = Port()
    link._port = port
    with pytest.raises(GateRefused):
        link.write(thing)  # type: ignore[arg-type]
    assert not port.written


@settings(max_examples=500, deadline=None)
@given(st.text(max_size=16))
def test_forged_requests_are_checked_again(text: str) -> None:
    """A request made around the gate's door is still held to its table."""
    with pytest.raises(GateRefused):
        Permitted(text, object())
    forged = object.__new__(Permitted)
    for name, value in (("text", text), ("_token", None), ("_listed", None)):
        object.__setattr__(forged, name, value)
    link = PortLink("loop://")
    port = Port()
    link._port = port
    try:
        link.write(forged)
    except GateRefused:
        assert not port.written
    else:
        assert harmless(text)


def test_a_permitted_request_does_not_change() -> None:
    """The text of a permitted request cannot be replaced."""
    request = permit("0100")
    with pytest.raises(AttributeError):
        request.text = "04"


@pytest.mark.parametrize("text", ["04", "14FFFF33"])
def test_clearing_passes_once_with_a_token(link: PortLink, text: str) -> None:
    """A token lets one clearing through, and not the next."""
    token = clear_token(CONDITIONS)
    request = permit_clear(token, text)
    link.write(request)
    with pytest.raises(GateRefused):
        link.write(request)
    with pytest.raises(GateRefused):
        link.write(permit_clear(token, text))
    assert bytes(link._port.written) == text.encode() + b"\r"


@pytest.mark.parametrize(
    ("conditions", "why"),
    [
        (ClearConditions(None, True, True), "not known"),
        (ClearConditions(650.0, True, True), "running"),
        (ClearConditions(0.0, False, True), "snapshot"),
        (ClearConditions(0.0, True, False), "confirmed"),
        (ClearConditions(float("nan"), True, True), "running"),
    ],
)
def test_no_token_without_every_condition(
    conditions: ClearConditions, why: str
) -> None:
    """Each missing condition is named, and no token comes out."""
    with pytest.raises(GateRefused, match=why):
        clear_token(conditions)


def test_token_opens_nothing_else() -> None:
    """A token permits clearing only, and cannot be made elsewhere."""
    token = clear_token(CONDITIONS)
    with pytest.raises(GateRefused):
        permit_clear(token, "1101")
    with pytest.raises(GateRefused):
        ClearToken(object())
    with pytest.raises(GateRefused):
        permit_clear(object.__new__(Permitted))  # type: ignore[arg-type]


def test_listed_identifiers_pass_and_no_others() -> None:
    """A definition file opens its own reads of services 21 and 22, nothing more."""
    listed = Listed(dids=frozenset({0x1234, 0x1235}), lids=frozenset({0x01}))
    for text in ("221234", "2212341235", "2212342", "2101", "21011"):
        assert wire(permit(text, listed)).endswith(b"\r")
    for text in ("221236", "2212341236", "2102", "2E1234", "04", "3101"):
        with pytest.raises(GateRefused):
            permit(text, listed)


def test_the_tables_say_what_each_row_does() -> None:
    """Every row of the gate has its reason beside it, once."""
    rows = (*gate.READ_REQUESTS, *gate.ADAPTER_COMMANDS)
    assert all(words for _, words in rows)
    assert len({pattern for pattern, _ in rows}) == len(rows)
