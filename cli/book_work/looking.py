"""What a page may have a command tell: a closed list, each one of the commands, with its words and its chart."""

from __future__ import annotations

import contextlib
import io
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from soakwitness.cli.options.common import WrongUse
from soakwitness.cli.options.entering import told_progress

LONGEST, MOST = 400, 60

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class ToldCommand:
    """A command; what is asked of it, as options or as its one name; whether it draws a chart, can tell all."""

    command: tuple[str, ...]
    options: tuple[str, ...] = ()
    name: str | None = None
    chart: bool = False
    more: bool = False


LOOKS: dict[str, ToldCommand] = {
    "condition": ToldCommand(("condition",), name="furnace", chart=True, more=True),
    "sensors": ToldCommand(("sensor", "list"), options=("furnace",)),
    "calibration": ToldCommand(("sensor", "calibration"), name="number", chart=True),
    "accuracy": ToldCommand(("accuracy", "--history"), options=("furnace", "sensor"), chart=True),
    "survey": ToldCommand(("survey",), options=("show",), chart=True, more=True),
    "audit": ToldCommand(("audit",), options=("suspect", "good"), chart=True, more=True),
}


def told(
    logbook: Path, look: str, asked: Mapping[str, Sequence[str]], *, unit: str, every: bool, progress: Progress
) -> dict[str, Any]:
    """What the command tells: its ``text``, what it says beside in ``notes``, its ``chart`` as SVG or None."""
    out, err = io.StringIO(), io.StringIO()
    with tempfile.TemporaryDirectory(prefix="soakwitness-") as scratch:
        chart = Path(scratch) / "chart.svg"
        words = arguments(logbook, look, asked, unit=unit, every=every, chart=chart)
        with telling(progress), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            _run(words)
        svg = chart.read_text(encoding="utf-8") if chart.exists() else None
    lines = [line for line in out.getvalue().splitlines() if not line.removeprefix("Chart: ").startswith(str(chart))]
    return {"text": "\n".join(lines), "notes": err.getvalue().split("\n"), "chart": svg}


@contextlib.contextmanager
def telling(progress: Progress) -> Iterator[None]:
    """How far it is goes to ``progress``, in place of a bar."""
    before = told_progress.set(progress)
    try:
        yield
    finally:
        told_progress.reset(before)


def _run(words: Sequence[str]) -> None:
    from soakwitness.cli.main import soakwitness

    soakwitness.main(list(words), prog_name="soakwitness", standalone_mode=False, obj={})


def arguments(
    logbook: Path, look: str, asked: Mapping[str, Sequence[str]], *, unit: str, every: bool, chart: Path
) -> list[str]:
    """The words of the command. Raises WrongUse where there is no such look, or a page cannot have asked for this."""
    if look not in LOOKS:
        raise WrongUse(f"{look!r} is nothing to look at. There is: {', '.join(LOOKS)}.")
    known = LOOKS[look]
    given = {name: [text.strip() for text in texts if text.strip()] for name, texts in asked.items()}
    for name, texts in given.items():
        if name not in (*known.options, known.name):
            raise WrongUse(f"{name!r} is not asked for to look at {look}.")
        if len(texts) > MOST or any(len(text) > LONGEST or "\0" in text for text in texts):
            raise WrongUse(f"{name}: at most {MOST} names of {LONGEST} characters are looked for.")
    options = [f"--logbook={logbook}", f"--unit={unit}"]
    options += [f"--{name}={text}" for name in known.options for text in given.get(name, ())]
    options += ["--all"] if every and known.more else []
    options += [f"--chart={chart}"] if known.chart else []
    names = [] if known.name is None else given.get(known.name, [])[:1]
    return [*known.command, *options, *(["--", *names] if names else [])]
