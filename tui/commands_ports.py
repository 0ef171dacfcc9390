"""`bankwise ports` and `bankwise probe`: what is plugged in, and what it can do."""

from __future__ import annotations

from typing import Annotated

import typer

from bankwise.tui.options import Baud, Port

app = typer.Typer(rich_markup_mode=None)


@app.command(epilog="Example: bankwise ports")
def ports() -> None:
    """List the ports where an adapter may be, the likely ones first."""
    from bankwise.adapters.ports import found_ports

    found = found_ports()
    if not found:
        typer.echo(
            "no ports found: plug the adapter in or pair it; one on the network is "
            "named as socket://HOST:PORT"
        )
    width = max((len(port.url) for port in found), default=0)
    for port in found:
        notes = [port.what] if port.likely else [port.what, "less likely"]
        if port.trouble:
            notes.append(port.trouble)
        typer.echo(f"{port.url:{width}}  {', '.join(notes)}")


@app.command(
    epilog="Example: bankwise probe --port /dev/ttyUSB0; "
    "bankwise probe --port socket://192.168.0.10:35000 --json"
)
def probe(
    port: Port = None,
    baud: Baud = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the findings as JSON.")
    ] = False,
) -> None:
    """Test what an adapter can really do; ignition on.

    What is found is remembered for this port, and the next drive begins with it.
    """
    import json
    import sys

    from bankwise.adapters.adapter_notes import Notes
    from bankwise.adapters.opening import opener
    from bankwise.adapters.ports import only_port
    from bankwise.adapters.probe import probe as test_adapter
    from bankwise.tui.recording import StatusLine

    url = port or only_port()
    line = StatusLine(sys.stderr)
    link = opener(url, baud, line.show, lambda: False)()
    try:
        result = test_adapter(link, tell=line.show)
    finally:
        link.close()
        line.end()
    Notes().keep(url, result.note())
    if as_json:
        found = {
            "port": url,
            "name": result.found.name,
            "baud": result.baud,
            "values_per_s": round(result.values_per_s, 1),
            "verdict": result.verdict(),
            "findings": [
                {"what": one.what, "able": one.able.value, "text": one.text}
                for one in result.findings
            ],
        }
        typer.echo(json.dumps(found, ensure_ascii=False, indent=1))
        return
    typer.echo(f"{result.found.name or 'an adapter without a name'} at {url}")
    for text in result.words():
        typer.echo(f"  {text}")
