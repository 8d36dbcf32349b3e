"""``soakwitness ports``: serial ports with the names that stay."""

from __future__ import annotations

from dataclasses import asdict

import click

from soakwitness.cli.options.common import json_option, print_json
from soakwitness.cli.options.screen import say


@click.command()
@json_option
def ports(as_json: bool) -> None:
    """List serial ports with their stable names.

    A number such as in /dev/ttyUSB0 can change with the next plugging in; the name under /dev/serial/by-id/ does not:
    write that one into the furnace file.

    Example: soakwitness ports
    """
    from soakwitness.firmware_bridge.links.ports import list_ports

    found = list_ports()
    if as_json:
        print_json([{**asdict(info), "best": info.best} for info in found])
        return
    for info in found:
        say(info.best)
        say(f"    {info.what}; now {info.port}; {info.state}" if info.stable else f"    {info.what}; {info.state}")
    if not found:
        say("No serial port is there. Plug the adapter in and look again.", err=True)
    say('A serial-to-network adapter needs no port: write port = "socket://HOST:PORT".', err=True)
