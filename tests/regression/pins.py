"""What the tool says of many runs, one line a fact, so that a change shows itself line by line.

``python -m tests.regression.pins`` takes the pins anew; commit them with the reason of every difference.
"""

from __future__ import annotations

import gzip
import json
import re
import shutil
import sys
import tempfile
from collections.abc import Iterator, Mapping
from html import unescape
from pathlib import Path
from typing import Any

from click.testing import CliRunner

from soakwitness.analysis.logbook.kept import kept_answer
from soakwitness.analysis.logbook.opening import open_logbook
from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.recipes.recipe_file import parse_recipe
from soakwitness.analysis.record.run import Run, open_run
from soakwitness.analysis.verification.results.report import as_json
from soakwitness.analysis.verification.verifying import verify
from soakwitness.cli.main import soakwitness
from soakwitness.cli.options.common import plain
from tests.clock_agreement import fed_whole, soaks_of
from tests.make_sample_logs import RUNS, SAMPLES
from tests.named_cases import named_cases
from tests.synthetic import KINDS, assignment_case, soak_case
from tests.verification_runs import run_of

HERE = Path(__file__).parent
NAMES = ("sample_logs", "named_cases", "random_runs", "commands")
EACH = 150  # random runs of either kind
COMMANDS = (
    "verify {run}",
    "verify {run} --unit F --exit-zero",
    "runs",
    "recipe check {recipe}",
    "recipe program {recipe} --unit F",
    "packet predict {run}",
    "logbook recompute",
    "logbook check",
    "condition --furnace shed-furnace",
    "steels",
    "sensor list",
    "piece list",
)


def taken(name: str) -> list[str]:
    """The lines of one set of pins, computed now."""
    makers = {
        "sample_logs": _sample_logs,
        "named_cases": _named_cases,
        "random_runs": _random_runs,
        "commands": _commands,
    }
    return list(makers[name]())


def kept(name: str) -> list[str]:
    """The lines of one set of pins, as they were taken."""
    return gzip.decompress((HERE / f"{name}.gz").read_bytes()).decode().splitlines()


def keep(name: str, lines: list[str]) -> None:
    """Keep the lines of one set."""
    text = "\n".join(lines) + "\n"
    (HERE / f"{name}.gz").write_bytes(gzip.compress(text.encode(), mtime=0))


def _facts(answer: Mapping[str, Any], head: str) -> Iterator[str]:
    """An answer of ``verify --json`` line by line."""
    rest = {key: value for key, value in answer.items() if key not in ("steps", "findings", "run")}
    yield f"{head}: {_text(rest)}"
    for step in answer["steps"]:
        yield f"{head}, step {step['step']}: {_text(step)}"
    for finding in answer["findings"]:
        yield f"{head}, finding: {_text(finding)}"


def _text(value: object) -> str:
    return json.dumps(_short(plain(value)), ensure_ascii=False, sort_keys=True)


def _short(value: Any) -> Any:
    """Without what is not known, numbers to three digits: another processor rounds the rest otherwise."""
    if isinstance(value, dict):
        return {key: _short(part) for key, part in value.items() if part not in (None, [], {}, "")}
    if isinstance(value, list):
        return [_short(part) for part in value]
    return round(value, 2) if isinstance(value, float) else value


def _clock(run: Run, recipe: Recipe) -> dict[int, list[float]]:
    """What the soak clock counted, by hold."""
    clock = fed_whole(run, recipe)
    return {hold: [round(s, 1) for s in soaks.values()] for hold, soaks in soaks_of(clock).items()}


def _both(run: Run, recipe: Recipe, head: str) -> Iterator[str]:
    yield from _facts(as_json(verify(run, recipe)), head)
    yield f"{head}, clock: {_text(_clock(run, recipe))}"


def _sample_logs() -> Iterator[str]:
    with tempfile.TemporaryDirectory() as folder:
        book = _book(Path(folder))
        for name in RUNS:
            path = book / "runs" / name
            yield from _facts(json.loads(_said(book, "verify", str(path), "--json")), f"{name}, verify")
            run = open_run(path)
            yield f"{name}, clock: {_text(_clock(run, parse_recipe(run.header.recipe_file or '')))}"
            sheet = Path(folder) / f"{name}.html"
            _said(book, "sheet", str(path), "--out", str(sheet))
            for line in _words(sheet.read_text(encoding="utf-8")):
                yield f"{name}, sheet: {line}"
        _said(book, "logbook", "recompute", "--everything", "--processes", "1")
        with open_logbook(book) as opened:
            for name in RUNS:
                answer = kept_answer(opened, open_run(SAMPLES / name).header.run)
                assert answer is not None
                yield from _facts(answer, f"{name}, recompute")


def _book(folder: Path) -> Path:
    """A log book with the sample runs."""
    book = folder / "book"
    (book / "runs").mkdir(parents=True)
    for name in RUNS:
        shutil.copytree(SAMPLES / name, book / "runs" / name)
    return book


def _said(book: Path, *words: str) -> str:
    answer = CliRunner().invoke(
        soakwitness, [*words], env={"SOAKWITNESS_LOGBOOK": str(book), "SOAKWITNESS_USER": "Ana"}
    )
    assert answer.exception is None or isinstance(answer.exception, SystemExit), answer.output
    return answer.stdout


def _words(html: str) -> list[str]:
    """The words of a page, without pictures."""
    html = re.sub(r"<(style|svg)\b.*?</\1>", " ", html, flags=re.DOTALL)
    parts = (" ".join(unescape(part).split()) for part in re.split(r"<[^>]+>", html))
    return [part for part in parts if part and not part.startswith("SHA-256")]


def _named_cases() -> Iterator[str]:
    for name, case in named_cases().items():
        yield from _both(case.run, case.recipe, name)


def _random_runs() -> Iterator[str]:
    for seed in range(EACH):
        case = soak_case(seed)
        yield from _both(run_of(case), case.recipe, f"soak {seed}")
    for seed in range(EACH):
        case = assignment_case(seed, KINDS[seed % len(KINDS)])
        yield from _both(run_of(case), case.recipe, f"{case.kind} {seed}")


def _commands() -> Iterator[str]:
    with tempfile.TemporaryDirectory() as folder:
        book = _book(Path(folder))
        for command in COMMANDS:
            words = command.format(run=book / "runs" / "short-soak", recipe=SAMPLES / "recipes" / "paring-blades.toml")
            for line in _said(book, *words.split()).splitlines():
                yield f"{command}: {line.replace(str(book), 'BOOK').replace(str(SAMPLES), 'SAMPLES')}"


def main() -> None:
    """Take the pins anew, those named or all."""
    for name in sys.argv[1:] or NAMES:
        lines = taken(name)
        keep(name, lines)
        print(f"{name}: {len(lines)} lines")


if __name__ == "__main__":
    main()
