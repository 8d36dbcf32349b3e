"""Commands in sentences that were kept as a terminal reads them, such as a verdict's, put into another surface's words.

A sentence that is made for its reader carries its commands (``NextCommand``); one that the log book keeps as text, and
what a command printed, have them typed out.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable, Iterator
from dataclasses import dataclass

# Commands by their first words; those of a group have a second one.
COMMANDS = (
    *("accuracy", "audit", "book", "calibrate", "condition", "cutout", "demo", "disposition", "emf", "fixed-points"),
    *("guide", "import", "plan", "ports", "record", "runs", "sheet", "survey", "today", "upkeep", "verify", "watch"),
)
GROUPS = ("batch", "furnace", "logbook", "mark", "packet", "piece", "place", "recipe", "sensor", "steels")
_WORDS = re.compile(r"""soakwitness((?: (?:'[^']*'|"[^"]*"|[^\s.,:;?!()'"]+(?:[.:][^\s.,:;?!()'"]+)*))+)""")
_VALUE = re.compile(r"""-|['"]|[A-Z]{2,}|\S*\d""")  # an option, what is quoted, what stands for a value, a name
_NEXT_ALIKE = re.compile(r"(?:, | or | and |, or |, and )")


def typed_words(command: str) -> tuple[str, ...]:
    """The words of a command as a terminal shows it, without the program's name."""
    return tuple(shlex.split(command)[1:])


def sentence_parts(text: str) -> list[str | tuple[str, ...]]:
    """A text taken apart: what is said, and the words of commands in it."""
    parts: list[str | tuple[str, ...]] = []
    said = 0
    for found in _WORDS.finditer(text):
        words = list(_of_command(re.findall(r"""'[^']*'|"[^"]*"|\S+""", found[1])))
        if words:
            parts += [text[said : found.start()], tuple(word.strip("'\"") for word in words)]
            said = found.start(1) + sum(len(word) + 1 for word in words)
    return [part for part in (*parts, text[said:]) if part]


def _of_command(words: list[str]) -> Iterator[str]:
    """Those of some words that are a command; none where they are only about the program."""
    if words[0] not in (*COMMANDS, *GROUPS):
        return
    yield words[0]
    named = 1 + (words[0] in GROUPS)
    for number, word in enumerate(words[1:], 1):
        value = _VALUE.match(word) or words[number - 1].startswith("--") or number == len(words) - 1
        if not (number < named or value):
            return
        yield word


@dataclass(frozen=True)
class RetoldPart:
    """A piece of a sentence; ``words``: of the command that it stands for, none where it is only said."""

    text: str
    words: tuple[str, ...] = ()


def retold(text: str, command: Callable[[tuple[str, ...]], str]) -> list[RetoldPart]:
    """A text with its commands in other words; of several one after the other that read alike, one."""
    told: list[RetoldPart] = []
    for part in sentence_parts(text):
        if isinstance(part, str):
            told.append(RetoldPart(part))
            continue
        one = RetoldPart(command(part), part)
        if len(told) > 1 and told[-2].words and told[-2].text == one.text and _NEXT_ALIKE.fullmatch(told[-1].text):
            told.pop()
        else:
            told.append(one)
    return told
