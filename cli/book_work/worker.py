"""The worker of the book: takes jobs as JSON lines, answers each with lines of its own, ends where none comes.

In: ``{"id": 1, "do": "verdict", "run": "..."}``. Out: ``{"id": 1, "progress": [3, 10]}`` as often as there is news,
then ``{"id": 1, "done": {...}}`` or ``{"id": 1, "refused": "words"}``.
"""

from __future__ import annotations

import argparse
import json
import os
import select
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from soakwitness.cli.book_work.jobs import JOBS
from soakwitness.cli.options.common import plain, told_of
from soakwitness.cli.options.screen import read_on
from soakwitness.cli.words.page_words import ON_PAGE

IDLE_S = 20.0


def lines(number: int, idle_s: float) -> Iterator[bytes]:
    """Lines of a pipe, until it ends or nothing comes for so long."""
    rest = b""
    while os.name == "nt" or select.select([number], [], [], idle_s)[0]:
        data = os.read(number, 1 << 16)
        if not data:
            return
        *whole, rest = (rest + data).split(b"\n")
        yield from whole


def answer(logbook: Path, line: bytes, out: Any) -> None:
    """Do one job and write what came of it."""
    asked = json.loads(line)
    about = {"id": asked.pop("id", None)}

    def say(said: dict[str, Any]) -> None:
        out.write(json.dumps(plain({**about, **said})).encode() + b"\n")
        out.flush()

    job = JOBS.get(asked.pop("do", ""))
    if job is None:
        say({"refused": f"There is no such job. Known: {', '.join(JOBS)}."})
        return
    try:
        say({"done": job(logbook, lambda done, of: say({"progress": [done, of]}), **asked)})
    except Exception as error:
        say({"refused": refusal_words(error)})


def refusal_words(error: Exception) -> str:
    """A refusal in the words that the command has for it, as a page says them."""
    told = told_of(error, "C", ON_PAGE)
    return told[0] if told is not None else f"{type(error).__name__}: {error}"


def main() -> None:
    """Work until the book closes the pipe, or leaves it quiet."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--logbook", type=Path, required=True)
    parser.add_argument("--idle", type=float, default=IDLE_S)
    options = parser.parse_args()
    read_on.set(ON_PAGE)
    os.environ.pop("COLUMNS", None)  # what is captured is read on a page, not on the screen that began the book
    with os.fdopen(os.dup(1), "wb") as out, open(os.devnull, "wb") as nowhere:
        os.dup2(nowhere.fileno(), 1)  # what a command prints is no answer
        for line in lines(sys.stdin.fileno(), options.idle):
            answer(options.logbook, line, out)


if __name__ == "__main__":
    main()
