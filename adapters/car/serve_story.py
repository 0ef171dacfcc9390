"""Serves a story's car in a process of its own.

    python -m bankwise.adapters.car.serve_story STORY [--listen HOST:PORT] [--pty]
        [--strict-baud] [--faster N] [--cold] [--adapter NAME] [--link NAME]
        [--transmission] [--uds] [--protocol N]

The first line printed is the address. Lines on standard input touch the car, one answer
line each; the process ends when standard input does.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace

from bankwise.adapters.car.framing import PROTOCOLS
from bankwise.adapters.car.quirks import ADAPTERS, QUIET, Quirks, Trouble
from bankwise.adapters.car.server import serve_adapter
from bankwise.adapters.car.stories import STORIES, Story
from bankwise.adapters.car.timing import LINKS, LinkTiming
from bankwise.adapters.car.wiring import plug_in
from bankwise.adapters.errors import AdapterError, LinkError


def serve(
    story: Story,
    *,
    listen: str | None = None,
    pty: bool = False,
    strict_baud: bool = False,
    faster: float = 1.0,
    ready: Callable[[str], None] = print,
    cold: bool = False,
    quirks: Quirks | None = None,
    link: LinkTiming | None = None,
    trouble: Trouble = QUIET,
    transmission: bool = False,
    uds: bool = False,
    protocol: str | None = None,
    console: bool = False,
    until_closed: bool = False,
) -> None:
    """Serves a story's car until interrupted; returns on Ctrl-C.

    Args:
        story: which car, and what is wrong with it.
        listen: `host:port`; by default any free port of this machine.
        pty: a pseudo terminal instead.
        strict_baud: on a pseudo terminal only the adapter's own speed is understood.
        faster: simulated seconds per real second.
        ready: called with the real address once it can be opened.
        cold: start with a cold engine.
        quirks: how the adapter behaves.
        link: baud and latency of the computer's side.
        trouble: what goes wrong, and when.
        transmission: a second unit answers as well.
        uds: the units speak SAE J1979-2.
        protocol: the adapter's number of another protocol than the story's car speaks.
        console: take console lines from standard input.
        until_closed: stop when standard input ends; needs `console`.

    Raises:
        PortBusy: when the address is taken.
        LinkError: when it cannot be used, or J1979-2 is asked for without CAN.
    """
    spec = replace(story.spec, protocol=protocol) if protocol else story.spec
    if uds and not PROTOCOLS[spec.protocol].can:
        raise LinkError("SAE J1979-2 needs CAN: protocol 6, 7, 8 or 9")
    car = story.car(cold=cold)
    adapter = plug_in(
        car,
        spec,
        seed=story.seed,
        transmission=transmission,
        uds=uds,
        quirks=quirks,
        link=link,
        trouble=trouble,
    )
    serve_adapter(
        adapter,
        listen=listen,
        pty=pty,
        strict_baud=strict_baud,
        faster=faster,
        ready=ready,
        touch=car.touch,
        console=console,
        until_closed=until_closed,
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """The command line above; the exit status."""
    parser = argparse.ArgumentParser(prog="serve_story", description=__doc__)
    parser.add_argument("story", choices=sorted(STORIES))
    parser.add_argument("--listen")
    parser.add_argument("--pty", action="store_true")
    parser.add_argument("--strict-baud", action="store_true")
    parser.add_argument("--faster", type=float, default=1.0)
    parser.add_argument("--cold", action="store_true")
    parser.add_argument("--transmission", action="store_true")
    parser.add_argument("--uds", action="store_true")
    parser.add_argument("--protocol", choices=sorted(PROTOCOLS))
    parser.add_argument("--adapter", choices=sorted(ADAPTERS), default="good")
    parser.add_argument("--link", choices=sorted(LINKS), default="usb-115200")
    chosen = parser.parse_args(arguments)
    try:
        serve(
            STORIES[chosen.story],
            listen=chosen.listen,
            pty=chosen.pty,
            strict_baud=chosen.strict_baud,
            faster=chosen.faster,
            ready=lambda address: print(address, flush=True),
            cold=chosen.cold,
            quirks=ADAPTERS[chosen.adapter],
            link=LINKS[chosen.link],
            transmission=chosen.transmission,
            uds=chosen.uds,
            protocol=chosen.protocol,
            console=True,
            until_closed=True,
        )
    except AdapterError as error:
        print(error, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
