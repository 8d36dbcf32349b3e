"""``soakwitness furnace``: write, check and try a furnace file."""

from __future__ import annotations

import time
from pathlib import Path

import click

from soakwitness.cli.options.common import (
    SuggestingGroup,
    WrongUse,
    check_output,
    force_option,
    json_option,
    print_json,
    unit_option,
    write_output,
)
from soakwitness.cli.options.screen import say

LINKS = ("modbus", "lines", "simulated")
FILE = click.Path(path_type=Path, dir_okay=False)


@click.group(cls=SuggestingGroup)
def furnace() -> None:
    """Write, check and try a furnace file (new, check, read).

    Example: soakwitness furnace new --link simulated
    """


@furnace.command()
@click.argument("file", type=FILE, required=False)
@click.option("--link", type=click.Choice(LINKS), help="How the instrument is reached.")
@click.option("--ask", is_flag=True, help="Find port, link and registers by questions and a trial reading.")
@force_option
def new(file: Path | None, link: str | None, ask: bool, force: bool) -> None:
    """Write a commented furnace file to FILE, or to stdout where none is named.

    Example: soakwitness furnace new --link modbus
    """
    from soakwitness.firmware_bridge.connecting.furnace_file import template

    if not ask and link is None:
        raise WrongUse(f"say how the instrument is reached: --link {'|'.join(LINKS)}, or answer questions: --ask")
    if file is not None:
        check_output(file, force=force, suffixes=(".toml",))
    if ask:
        from soakwitness.cli.commands.furnace_questions import ask_for_furnace

        text = ask_for_furnace(link)
    else:
        text = template(link)  # type: ignore[arg-type]
    if file is None:
        click.echo(text, nl=False)
        return
    write_output(file, text)
    click.echo(str(file))
    say(f"Change it to fit, then try it: soakwitness furnace read {file}", err=True)


@furnace.command()
@click.argument("file", type=FILE)
@json_option
def check(file: Path, as_json: bool) -> None:
    """Read FILE and say in sentences what it means; the port is not opened.

    Example: soakwitness furnace check furnace.toml
    """
    from soakwitness.cli.words.furnace_words import furnace_notes, furnace_sentences
    from soakwitness.firmware_bridge.connecting.furnace_file import load_furnace

    found = load_furnace(file)
    says, notes = furnace_sentences(found), furnace_notes(found)
    if as_json:
        print_json({"furnace": found.name, "columns": found.columns, "says": says, "notes": notes})
        return
    for sentence in says:
        say(sentence)
    for note in notes:
        say(f"Look at: {note}")


@furnace.command()
@click.argument("file", type=FILE)
@unit_option
@json_option
def read(file: Path, unit: str | None, as_json: bool) -> None:
    """Take one reading over the link that FILE describes and say what arrived.

    Example: soakwitness furnace read furnace.toml
    """
    from soakwitness.cli.words.furnace_words import lengths_sentence, reading_lines, shown_in
    from soakwitness.firmware_bridge.connecting.furnace_file import load_furnace
    from soakwitness.firmware_bridge.connecting.opening import open_link
    from soakwitness.firmware_bridge.links.modbus import ModbusLink

    found = load_furnace(file)
    unit = unit or found.unit
    link = open_link(found)
    try:
        begin = time.monotonic()
        reading = link.read()
        took_s = time.monotonic() - begin
        lengths = link.lengths() if isinstance(link, ModbusLink) else None
    finally:
        link.close()
    if as_json:
        values = {part.name: reading.values.get(part.name) for part in found.parts}
        for part in found.parts:
            value = values[part.name]
            values[part.name] = None if value is None else shown_in(part, value, found, unit)
        answer = {"furnace": found.name, "link": link.describe(), "unit": unit, "took_s": took_s, "values": values}
        print_json(
            {
                **answer,
                "lengths": lengths,
                "faults": dict(reading.faults),
                "texts": reading.texts,
                "missed": reading.missed,
            }
        )
    else:
        say(f"{link.describe()}: it answered within {took_s * 1000:.0f} ms.")
        if lengths is not None:
            say(lengths_sentence(found, lengths))
        for line in reading_lines(found, reading, unit):
            say(line)
    if all(reading.values[sensor.name] is None for sensor in found.sensors):
        raise click.exceptions.Exit(1)
