"""How the adapter prints frames, and how mishaps spoil frames and lines."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from random import Random

from bankwise.adapters.car.framing import Frame, Protocol
from bankwise.adapters.car.quirks import Mishap, Quirks
from bankwise.adapters.car.settings import Settings

_SINGLE, _FIRST, _NEXT = 0x00, 0x10, 0x20


def printed(
    frame: Frame, protocol: Protocol, settings: Settings, quirks: Quirks
) -> tuple[str, ...]:
    """The lines of one frame, as the settings ask for them."""
    headers = settings.headers and not quirks.hides_headers
    spaces = settings.spaces or quirks.keeps_spaces
    if not protocol.can:
        check = frame.check if quirks.shows_check else b""
        shown = frame.header + frame.data + check if headers else frame.data
        return (_hex(shown, spaces),)
    data = frame.data
    if headers or not settings.formatting:
        head = _identifier(frame.header, protocol, spaces) if headers else ""
        if headers and settings.show_length:
            head += f"{len(data):X}" + " " * spaces
        if settings.formatting and not quirks.shows_padding:
            data = _without_padding(data)
        return (head + _hex(data, spaces),)
    kind = data[0] & 0xF0
    if kind == _SINGLE:
        return (_hex(data[1 : 1 + (data[0] & 0x0F)], spaces),)
    if kind == _FIRST:
        length = f"{int.from_bytes(data[:2], 'big') & 0xFFF:03X}"
        return (length, "0:" + " " * spaces + _hex(data[2:], spaces))
    return (f"{data[0] & 0x0F:X}:" + " " * spaces + _hex(data[1:], spaces),)


def _without_padding(data: bytes) -> bytes:
    single = data[0] & 0xF0 == _SINGLE
    return data[: 1 + (data[0] & 0x0F)] if single else data


def _identifier(header: bytes, protocol: Protocol, spaces: bool) -> str:
    if protocol.id_bits == 29:
        return _hex(header, spaces)
    return f"{int.from_bytes(header, 'big'):03X}" + " " * spaces


def _hex(data: bytes, spaces: bool) -> str:
    # A good adapter ends each spaced line with a space.
    return data.hex(" ").upper() + " " if spaces else data.hex().upper()


Spoil = Callable[[list[Frame], Random], list[Frame]]


def _lose(frames: list[Frame], rng: Random) -> list[Frame]:
    gone = rng.randrange(len(frames))
    return [frame for i, frame in enumerate(frames) if i != gone]


def _double(frames: list[Frame], rng: Random) -> list[Frame]:
    i = rng.randrange(len(frames))
    return [*frames[: i + 1], *frames[i:]]


def _swap(frames: list[Frame], rng: Random) -> list[Frame]:
    if len(frames) < 2:
        return frames
    i = rng.randrange(len(frames) - 1)
    return [*frames[:i], frames[i + 1], frames[i], *frames[i + 2 :]]


def _foreign(frames: list[Frame], rng: Random) -> list[Frame]:
    first = frames[0]
    header = first.header[:-1] + bytes(((first.header[-1] ^ 0x60) & 0xFF,))
    return [*frames, Frame(header, rng.randbytes(len(first.data)), first.check)]


FRAME_MISHAPS: dict[Mishap, Spoil] = {
    Mishap.LOST_FRAME: _lose,
    Mishap.DOUBLED_FRAME: _double,
    Mishap.SWAPPED_FRAMES: _swap,
    Mishap.FOREIGN_FRAME: _foreign,
}
"""Mishaps on the bus: from the frames sent to those received."""


def _flip(line: str, rng: Random) -> str:
    places = [i for i, sign in enumerate(line) if sign != " "]
    if not places:
        return line
    i = rng.choice(places)
    return line[:i] + chr(ord(line[i]) ^ 1 << rng.randrange(6)) + line[i + 1 :]


def _cut(line: str, rng: Random) -> str:
    return line[: rng.randrange(len(line))] if line else line


LINE_MISHAPS: dict[Mishap, Callable[[str, Random], str]] = {
    Mishap.BIT_FLIP: _flip,
    Mishap.CUT_LINE: _cut,
    Mishap.LINE_DATA_ERROR: lambda line, _: line + "<DATA ERROR",
    Mishap.LINE_RX_ERROR: lambda line, _: line + "<RX ERROR",
    Mishap.NULS: lambda line, rng: _at(line, rng, "\0\0"),
}
"""Mishaps on one line, chosen at random among those of an answer."""


def _at(line: str, rng: Random, put: str) -> str:
    i = rng.randrange(len(line) + 1)
    return line[:i] + put + line[i:]


EXTRA_LINES: dict[Mishap, Callable[[str, Random], str]] = {
    Mishap.ACT_ALERT: lambda _, __: "!ACT ALERT",
    Mishap.LP_ALERT: lambda _, __: "!LP ALERT",
    Mishap.ECHO: lambda request, _: request,
    Mishap.HEX_JUNK: lambda _, rng: f"{rng.getrandbits(36):09X}",
    Mishap.ENDLESS_LINE: lambda _, rng: rng.randbytes(6000).hex().upper(),
}
"""Mishaps that put a line before the answer."""


def spoil_lines(
    mishap: Mishap, lines: Sequence[str], request: str, rng: Random
) -> list[str]:
    """The lines that come instead when a mishap befalls an answer."""
    out = list(lines)
    if mishap in LINE_MISHAPS and out:
        i = rng.randrange(len(out))
        out[i] = LINE_MISHAPS[mishap](out[i], rng)
    if mishap in EXTRA_LINES:
        out.insert(0, EXTRA_LINES[mishap](request, rng))
    return out
