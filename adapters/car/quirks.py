"""How adapters differ from the good one, and what can go wrong: records, not branches.

`Quirks` is how an adapter always behaves; `Mishap` is something that happens now and
then, by chance from a seed, at a given request, or at once when told.

Source: the texts are from adapter data sheets; what imitations of a good adapter do is
from memory of users' reports.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum


class Digit(Enum):
    """What an adapter makes of the expected-frame digit at the end of a request."""

    HONOURED = "ends the wait after that many frames"
    IGNORED = "accepts it and waits all the same"
    REFUSED = "answers ?"
    REFUSED_WITH_MANY = "answers ? when the request has more than one PID"


class ManyPids(Enum):
    """What an adapter makes of a request with several PIDs."""

    PASSED_ON = "sends it as it is"
    FIRST_ONLY = "sends the first PID only"
    REFUSED = "answers ?"


@dataclass(frozen=True, slots=True)
class Quirks:
    """How an adapter always behaves; the defaults are the good adapter.

    Attributes:
        banner: what it calls itself. `device`: its answer to AT @1.
        digit, many_pids: see there.
        keeps_spaces, keeps_echo, keeps_linefeeds, hides_headers: says OK to the command
            and does not obey.
        refuses: commands without `AT`, by their beginning, that it answers with `?`.
        agrees_to_anything: answers OK to any unknown AT command.
        adaptive: honours AT AT1 and AT2; otherwise every wait is the full one.
        prompts: share of answers that end with a prompt.
        nul_share: chance of a NUL byte before a line.
        shows_padding: prints the filler of single CAN frames with headers on; that
            of a last frame is always printed.
        shows_check: prints the check byte of the older protocols with headers on.
        most_bytes: longer requests are cut to this many bytes.
        buffer_bytes: unsent bytes it can hold before BUFFER FULL.
        waits_for_pending: keeps listening after 7F xx 78.
        slow_s: added to every exchange. Unit: seconds.
        reset_s: time for AT Z. Unit: seconds.
    """

    banner: str = "SIMOBD v1.0"
    device: str = "SIMULATED OBD ADAPTER"
    digit: Digit = Digit.HONOURED
    many_pids: ManyPids = ManyPids.PASSED_ON
    keeps_spaces: bool = False
    keeps_echo: bool = False
    keeps_linefeeds: bool = False
    hides_headers: bool = False
    refuses: tuple[str, ...] = ()
    agrees_to_anything: bool = False
    adaptive: bool = True
    prompts: float = 1.0
    nul_share: float = 0.0
    shows_padding: bool = False
    shows_check: bool = True
    most_bytes: int | None = None
    buffer_bytes: int = 512
    waits_for_pending: bool = True
    slow_s: float = 0.0
    reset_s: float = 0.6


ADAPTERS: dict[str, Quirks] = {
    "good": Quirks(),
    "no-digit": Quirks(digit=Digit.REFUSED),
    "digit-single-only": Quirks(digit=Digit.REFUSED_WITH_MANY),
    "one-value": Quirks(many_pids=ManyPids.FIRST_ONLY, digit=Digit.IGNORED),
    "imitation": Quirks(
        banner="SIMOBD v1.5",
        many_pids=ManyPids.FIRST_ONLY,
        digit=Digit.IGNORED,
        keeps_spaces=True,
        refuses=("AT", "ST", "PP", "WS", "@1"),
        adaptive=False,
        agrees_to_anything=True,
        nul_share=0.02,
        shows_padding=True,
        most_bytes=4,
        slow_s=0.01,
    ),
    "poor": Quirks(
        banner="SIMOBD v2.1",
        many_pids=ManyPids.REFUSED,
        digit=Digit.REFUSED,
        keeps_spaces=True,
        keeps_echo=True,
        keeps_linefeeds=True,
        refuses=("L0", "CAF", "DPN", "WS", "TP"),
        adaptive=False,
        nul_share=0.1,
        slow_s=0.03,
    ),
    "drops-prompts": Quirks(prompts=0.97),
    "headerless": Quirks(hides_headers=True),
}
"""Adapters of different quality by name."""


class Mishap(Enum):
    """Things that go wrong with one exchange.

    The value is the word the adapter prints, or a description where it prints none.
    """

    NO_DATA = "NO DATA"
    CAN_ERROR = "CAN ERROR"
    BUS_ERROR = "BUS ERROR"
    BUS_BUSY = "BUS BUSY"
    FB_ERROR = "FB ERROR"
    BUS_INIT_ERROR = "BUS INIT: ...ERROR"
    UNABLE = "UNABLE TO CONNECT"
    BUFFER_FULL = "BUFFER FULL"
    UNKNOWN = "?"
    STOPPED = "STOPPED"
    DATA_ERROR = "DATA ERROR"
    LINE_DATA_ERROR = "<DATA ERROR"
    LINE_RX_ERROR = "<RX ERROR"
    ACT_ALERT = "ACT ALERT"
    LP_ALERT = "LP ALERT"
    LV_RESET = "LV RESET"
    ERR94 = "ERR94"
    RESET = "resets itself and prints its banner"
    SILENCE = "says nothing, not even a prompt"
    NO_PROMPT = "leaves the prompt out"
    NULS = "puts NUL bytes between"
    BIT_FLIP = "one character wrong"
    CUT_LINE = "a line stops short"
    LOST_FRAME = "a frame is missing"
    DOUBLED_FRAME = "a frame comes twice"
    SWAPPED_FRAMES = "two frames change places"
    FOREIGN_FRAME = "a frame of an unknown sender"
    STALE_FRAME = "a frame of an earlier answer comes along"
    ECHO = "the request is echoed"
    HEX_JUNK = "a line of odd hexadecimal digits"
    ENDLESS_LINE = "a very long line"


INSTEAD = frozenset(
    {
        Mishap.NO_DATA,
        Mishap.CAN_ERROR,
        Mishap.BUS_ERROR,
        Mishap.BUS_BUSY,
        Mishap.FB_ERROR,
        Mishap.BUS_INIT_ERROR,
        Mishap.UNABLE,
        Mishap.UNKNOWN,
        Mishap.STOPPED,
        Mishap.DATA_ERROR,
    }
)
"""Mishaps whose word comes instead of the answer."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """When mishaps happen.

    Attributes:
        chance: probability per vehicle request, by mishap.
        at: mishap by number of the vehicle request, counted from 0.
        seed: of the chances.
    """

    chance: Mapping[Mishap, float] = field(default_factory=dict)
    at: Mapping[int, Mishap] = field(default_factory=dict)
    seed: int = 0


QUIET = Trouble()
"""Nothing goes wrong."""
