"""Systemd units for this user that keep ``watch`` or the book running."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click
from click.core import ParameterSource

from soakwitness.cli.options.common import WrongUse, check_output

WATCHDOG_S = 300.0  # more than the slowest look at an instrument, or the sealing of a long run, takes
UNIT = """\
[Unit]
Description={about}
StartLimitIntervalSec=0

[Service]
{kind}
ExecStart={command}
WorkingDirectory={folder}
Restart=always
RestartSec=10
TimeoutStopSec=90

[Install]
WantedBy=default.target
"""
WATCHED = f"""\
Type=notify
NotifyAccess=main
WatchdogSec={WATCHDOG_S:.0f}
TimeoutStartSec={WATCHDOG_S:.0f}"""


def unit_name(reduced: str) -> str:
    """Name of the unit's file."""
    return f"soakwitness-{reduced}.service"


def unit_folder() -> Path:
    """Where this user's units live."""
    base = os.environ.get("XDG_CONFIG_HOME")
    return (Path(base) if base else Path.home() / ".config") / "systemd" / "user"


def unit_text(name: str, words: Sequence[str], folder: Path) -> str:
    """Text of the unit that watches a furnace: runs ``soakwitness`` with these words in ``folder``."""
    return _text(f"Furnace log of {name}", WATCHED, words, folder)


def book_unit_text(logbook: Path, words: Sequence[str]) -> str:
    """Text of the unit that serves the book of a log book."""
    return _text(f"Pages of the furnace log book {logbook}", "Type=exec", words, logbook)


def _text(about: str, kind: str, words: Sequence[str], folder: Path) -> str:
    command = " ".join(_quoted(word) for word in [*program(), *words])
    plain = " ".join(about.replace("%", "%%").split())
    where = str(folder).replace("%", "%%")
    return UNIT.format(about=plain, kind=kind, command=command, folder=where)


def give_unit(name: str, text: str, *, write: bool, force: bool, end_words: str) -> None:
    """Print a unit, or write it where this user's units live; and how it is switched on."""
    target = unit_folder() / name
    if write:
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            check_output(target, force=force)
            target.write_text(text, encoding="utf-8")
        except OSError as error:
            raise WrongUse(f"{target} cannot be written: {error.strerror or error}.") from None
        click.echo(str(target))
    else:
        click.echo(text, nl=False)
        click.echo(f"Keep it as {target}, or let --write do that.", err=True)
    for line in enable_words(name, end_words):
        click.echo(line, err=True)


def given_words(context: click.Context, leave_out: Sequence[str]) -> list[str]:
    """Options that were given, as words of a command; files and folders with their full paths."""
    words: list[str] = []
    for option in context.command.params:
        given = context.get_parameter_source(option.name or "") not in (ParameterSource.DEFAULT, None)
        if isinstance(option, click.Option) and given and option.name not in leave_out:
            value = context.params[option.name or ""]
            if not option.is_flag:
                words += [option.opts[0], _as_typed(value)]
            elif value:
                words.append(option.opts[0])
    return words


def _as_typed(value: Any) -> str:
    if isinstance(value, Path):
        return str(value.absolute())
    return f"{value:.15g}" if isinstance(value, float) else str(value)


def program() -> list[str]:
    """Words that start this very program, with full paths."""
    script = Path(sys.argv[0])
    if script.name.startswith("soakwitness") and script.exists():
        return [str(script.absolute())]
    beside = Path(sys.executable).with_name("soakwitness")
    if beside.exists():
        return [str(beside)]
    return [sys.executable, "-c", "from soakwitness.cli.main import main; main()"]


def _quoted(word: str) -> str:
    """A word as systemd reads it back."""
    escaped = word.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%").replace("$", "$$")
    return f'"{escaped}"' if escaped != word or not word or any(c in word for c in " \t;'") else word


def enable_words(unit: str, end_words: str) -> list[str]:
    """How to switch the unit on, and how to look at it."""
    return [
        "Switch it on:        systemctl --user daemon-reload && systemctl --user enable --now " + unit,
        "Also while nobody is logged in:  loginctl enable-linger",
        "See what it says:    journalctl --user -u " + unit + " -f",
        f"{end_words + ':':<21}systemctl --user stop " + unit,
    ]
