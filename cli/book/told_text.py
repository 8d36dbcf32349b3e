"""What a command printed for a screen of 80 columns, as sentences again: paragraphs, items, headings, figures."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

WIDTH = 80
MARK = re.compile(r"(?:- |\d+\. |[a-z]+: )")
COLUMNS = re.compile(r"\S {2,}\S")


@dataclass(frozen=True)
class ToldBlock:
    """``kind``: says (a sentence), heading, or figures (columns, as they are). ``deep``: how far it stands in."""

    kind: str
    text: str
    deep: int = 0


def told_blocks(text: str) -> list[ToldBlock]:
    """The blocks of a text, in its order."""
    return [block for part in re.split(r"\n\s*\n", text.strip("\n")) for block in _part(part.split("\n"))]


def _part(lines: Sequence[str]) -> Iterator[ToldBlock]:
    whole = list(_unwrapped(lines))
    figures: list[str] = []
    for number, line in enumerate(whole):
        if COLUMNS.search(line.strip()):
            figures.append(line)
            continue
        yield from _figures(figures)
        figures = []
        said = line.strip()
        heads = number == 0 and not line.startswith(" ") and said[-1:] not in ".!?:;)" and not MARK.match(said)
        if said:
            yield ToldBlock("heading" if heads else "says", said, min((len(line) - len(line.lstrip())) // 2, 3))
    yield from _figures(figures)


def _figures(lines: Sequence[str]) -> Iterator[ToldBlock]:
    if lines:
        yield ToldBlock("figures", "\n".join(lines))


def _unwrapped(lines: Sequence[str]) -> Iterator[str]:
    """Lines with those joined that were broken: the first word of the next one did not fit in any more."""
    whole, last = "", ""
    for line in lines:
        said = line.lstrip()
        fits = len(last) + 1 + len(said.partition(" ")[0]) <= WIDTH
        if not last or fits or MARK.match(said) or COLUMNS.search(said) or COLUMNS.search(whole.lstrip()):
            if last:
                yield whole
            whole = line
        else:
            whole = f"{whole} {said}"
        last = line
    if last:
        yield whole
