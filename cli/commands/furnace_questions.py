"""``soakwitness furnace new --ask``: port, link and a trial reading by questions, all on stderr."""

from __future__ import annotations

import json
from typing import Any

import click

from soakwitness.cli.words.furnace_words import reading_lines
from soakwitness.firmware_bridge.connecting.furnace_file import parse_furnace, template
from soakwitness.firmware_bridge.errors import BridgeError, LinkError
from soakwitness.firmware_bridge.furnace.register_and_field_keys import NUMBER_FORMATS
from soakwitness.firmware_bridge.furnace.sensors_and_links import ROLES, LinkKind, LinkSettings

LISTEN_S = 6.0
LIMITS: dict[str, dict[str, str]] = {"C": {}, "F": {"max_temp": "2372", "min_temp": "14", "over": "2102"}}


def ask_for_furnace(link: str | None) -> str:
    """Ask until a trial reading is what the instrument shows; return the furnace file."""
    name = ask("What do you call this furnace?", default="furnace")
    kind: Any = link or ask("How does its instrument talk?", choices=("modbus", "lines", "simulated"))
    unit = ask("Which degrees does the instrument show?", choices=("C", "F"), default="C")
    values = {"name": quoted(name), "unit": quoted(unit), **LIMITS[unit]}
    if kind != "simulated":
        values["port"] = quoted(ask_port())
    while True:
        try:
            if kind != "simulated":
                values |= (ask_modbus if kind == "modbus" else ask_lines)(values)
            text = template(kind, **values)
            if tried(text):
                return text
        except BridgeError as error:
            say(f"That did not work. {error}")
        if not click.confirm("Try other settings? (No keeps the file as it is now)", default=True, err=True):
            return kept(kind, values)
        if kind != "simulated" and not click.confirm("The same port?", default=True, err=True):
            values["port"] = quoted(ask_port())


def ask_port() -> str:
    """Ask for one of the ports there are, or for any other."""
    from soakwitness.firmware_bridge.links.ports import list_ports

    found = list_ports()
    for number, info in enumerate(found, 1):
        say(f"  {number}  {info.best} ({info.what}; {info.state})")
    answer = ask("Which port? Its number here, its name, or socket://HOST:PORT", default="1" if found else None)
    if answer.isascii() and answer.isdigit() and 1 <= int(answer) <= len(found):
        return found[int(answer) - 1].best
    return answer


def ask_modbus(values: dict[str, str]) -> dict[str, str]:
    """Ask for the line's settings and the first register."""
    say("The instrument's menu or manual has these (read-only: nothing is ever written to it).")
    answers = ask_line(values)
    answers["unit_id"] = str(ask_whole("Its address (unit)?", int(values.get("unit_id", 1)), 1, 247))
    table = ask("Table of the temperature?", choices=("holding", "input"), default=before(values, "table", "holding"))
    answers["table"] = quoted(table)
    say("The register as sent on the wire: where the manual prints 40001 or 30001, that is 0.")
    answers["register"] = str(ask_whole("Register of the temperature?", int(values.get("register", 0)), 0, 65535))
    number_format = ask("Number format?", choices=NUMBER_FORMATS, default=before(values, "format", "int16"))
    answers["format"] = quoted(number_format)
    scale = values.get("scale", "1.0")
    places = 0 if scale == "1.0" else len(scale) - len("0.")
    places = ask_whole("Decimal places that are not sent (1050.3 sent as 10503 has 1)?", places, 0, 6)
    answers["scale"] = f"{10.0**-places:.{places}f}" if places else "1.0"
    return answers | ask_role(values)


def ask_lines(values: dict[str, str]) -> dict[str, str]:
    """Listen, show what comes, and ask which field is the temperature."""
    from soakwitness.firmware_bridge.links.lines import listen
    from soakwitness.firmware_bridge.links.textlines import (
        comma_is_unclear,
        guess_checksum,
        guess_separator,
        line_is_unclear,
        plain_text,
        split_fields,
    )

    answers = ask_line(values)
    settings = LinkSettings("lines", json.loads(values["port"]), baud=int(answers["baud"]), timeout_s=LISTEN_S)
    lines = [line for line in listen(settings) if not line.startswith(b"#")]
    if not lines:
        raise LinkError("silent", "Only remarks came, no line with numbers.")
    checksum = guess_checksum(lines)
    body = lines[-1].removeprefix(b"$").rpartition(b"*")[0] if checksum != "none" else lines[-1]
    try:
        text = plain_text(body)
    except UnicodeDecodeError:
        raise LinkError("garbled", f"What comes is no text ({body[:40]!r}): check baud and parity.") from None
    say(f"It sends: {text}   (checksum: {checksum})")
    separator, decimal = guess_separator(text), None
    if line_is_unclear(text):
        one = ask(f"Is {text} one number, or two fields?", choices=("one", "two"), default="one") == "one"
        separator, decimal = (";", ",") if one else (",", ".")
    fields = split_fields(text, separator)
    for number, field in enumerate(fields, 1):
        say(f"  {number}  {field}")
    answers |= {"checksum": quoted(checksum), "separator": quoted(separator)}
    place = ask_whole("Which field is the temperature?", 1, 1, len(fields))
    if decimal is None and separator != "," and comma_is_unclear(fields[place - 1]):
        apart, fraction = fields[place - 1].replace(",", ""), fields[place - 1].replace(",", ".", 1)
        decimal = (
            "," if ask("What does that number mean?", choices=(apart, fraction), default=apart) == fraction else "."
        )
    answers["field"] = str(place)
    if decimal is not None:
        answers["decimal"] = quoted(decimal)
    return answers | ask_role(values)


def ask_line(values: dict[str, str]) -> dict[str, str]:
    """Ask for speed and parity."""
    baud = ask_whole("Speed in baud?", int(values.get("baud", 9600)), 50, 4_000_000)
    parity = ask("Parity?", choices=("none", "even", "odd"), default=before(values, "parity", "none"))
    return {"baud": str(baud), "parity": quoted(parity)}


def ask_role(values: dict[str, str]) -> dict[str, str]:
    """Ask what the first thermocouple is for."""
    role = ask("What is this thermocouple for?", choices=ROLES, default=before(values, "role", "control"))
    return {"role": quoted(role)}


def before(values: dict[str, str], key: str, default: str) -> str:
    """Give the answer of the round before."""
    return str(json.loads(values[key])) if key in values else default


def tried(text: str) -> bool:
    """Take a trial reading, say what arrived, and ask whether it is right."""
    from soakwitness.firmware_bridge.connecting.opening import open_link

    found = parse_furnace(text, "answers")
    link = open_link(found)
    try:
        reading = link.read()
    finally:
        link.close()
    say("Trial reading:")
    for line in reading_lines(found, reading, found.unit):
        say(f"  {line}")
    read = any(reading.values[sensor.name] is not None for sensor in found.sensors)
    if not read and found.link.kind == "lines":
        say("A field that is not a number alone needs a pattern in the file: soakwitness guide furnace-file")
    return click.confirm("Is that what the instrument shows?", default=read, err=True)


def kept(kind: LinkKind, values: dict[str, str]) -> str:
    """Return the file as far as it is known."""
    text = template(kind, **values)
    parse_furnace(text, "answers")
    return text


def say(text: str) -> None:
    """Write a line on stderr."""
    click.echo(text, err=True)


def ask(question: str, *, choices: tuple[str, ...] = (), default: str | None = None) -> str:
    """Ask for a text or one of several words."""
    kind = click.Choice(choices) if choices else str
    return str(click.prompt(question, type=kind, default=default, err=True)).strip()


def ask_whole(question: str, default: int, low: int, high: int) -> int:
    """Ask for a whole number."""
    return int(click.prompt(question, type=click.IntRange(low, high), default=default, err=True))


def quoted(text: str) -> str:
    """Write a text as TOML does."""
    return json.dumps(text, ensure_ascii=False)
