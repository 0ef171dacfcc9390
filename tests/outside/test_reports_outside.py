"""Code reports of SAE J1979-2 cars: our reader against udsoncan's.

Source: udsoncan 1.2x, report types 42 and 55 of service 19 and its status bits.
"""

from __future__ import annotations

import udsoncan
from hypothesis import given
from hypothesis import strategies as st
from udsoncan.Response import Response
from udsoncan.services.ReadDTCInformation import ReadDTCInformation

from bankwise.adapters.code_reading import status_codes_in, three_bytes_of
from bankwise.signals.two_trips import state_words

RECORDS = st.lists(
    st.tuples(st.integers(0, 255), st.integers(1, 0xFFFFFF), st.integers(0, 255)),
    max_size=12,
)
HEADS = {0x42: "594233FFFF04", 0x55: "595533FF04"}


@given(RECORDS, st.sampled_from(sorted(HEADS)))
def test_records_read_as_udsoncan_reads_them(
    records: list[tuple[int, int, int]], report: int
) -> None:
    """Code bytes and status agree for any records of both reports."""
    payload = bytes.fromhex(HEADS[report]) + b"".join(
        bytes((severity,)) + code.to_bytes(3, "big") + bytes((status,))
        for severity, code, status in records
    )
    response = Response.from_payload(payload)
    read = ReadDTCInformation.interpret_response(response, report).service_data
    ours = status_codes_in(payload)
    assert ours is not None
    assert [
        (int.from_bytes(three_bytes_of(code.code), "big"), code.status) for code in ours
    ] == [(dtc.id, dtc.status.get_byte_as_int()) for dtc in read.dtcs]


@given(st.integers(0, 255))
def test_status_bits_are_udsoncans(state: int) -> None:
    """Each bit we name is the one udsoncan names."""
    theirs = udsoncan.Dtc.Status.from_byte(state)
    words = state_words(state)
    assert ("failing at the last test" in words) == theirs.test_failed
    assert ("pending" in words) == theirs.pending
    assert ("confirmed" in words) == theirs.confirmed
    assert ("asks for the lamp" in words) == theirs.warning_indicator_requested
    assert (
        "failed since codes were cleared" in words
    ) == theirs.test_failed_since_last_clear
