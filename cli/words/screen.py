"""The terminal that reads: its width, and what may be emphasised on it."""

from __future__ import annotations

import os
import shutil
import textwrap

import click

NARROWEST, WIDEST, NO_TERMINAL = 60, 100, 80


def screen_width() -> int:
    """Columns to write in: the terminal's own (``COLUMNS`` where it is set), 80 where there is none."""
    return min(max(shutil.get_terminal_size((NO_TERMINAL, 24)).columns, NARROWEST), WIDEST)


def wrapped(text: str, width: int, *, indent: str = "") -> list[str]:
    """A sentence in lines of at most ``width``, words whole."""
    return textwrap.wrap(text, width, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)


def emphasised(text: str, colour: str) -> str:
    """Bold and coloured, where the reader wants colours (``NO_COLOR``); a pipe gets none from ``click.echo``."""
    return text if os.environ.get("NO_COLOR") else click.style(text, bold=True, fg=colour)
