"""The first three runs of each furnace, in lines for the screen and for programs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from soakwitness.cli.options.screen import screen_width, wrapped
from soakwitness.cli.words.waiting_words import printable
from soakwitness.firmware_bridge.common.units import Unit

if TYPE_CHECKING:
    from soakwitness.analysis.waiting.waiting_first_runs import FirstRun

HEADS = {"empty": "Empty", "second sensor": "A wandering second sensor", "packet": "A packet with a sensor"}


def first_runs_lines(found: Mapping[str, Sequence[FirstRun]], unit: Unit) -> Iterator[str]:
    """Each furnace with its three: what it gave, what it is good for, what is missing and what makes it."""
    wide = screen_width()
    for furnace, three in found.items():
        yield from wrapped(printable(f"{furnace}: {sum(one.done for one in three)} of 3 first runs on record."), wide)
        for number, one in enumerate(three, 1):
            yield from wrapped(printable(f"{number} {first_run_words(one, unit)}"), wide, indent="  ")
            if one.settle is not None:
                yield from (f"      {line}" for line in wrapped(printable(one.settle), wide - 6, indent="  "))


def first_run_words(one: FirstRun, unit: Unit) -> str:
    """What one of the three gave or misses, and what it is good for."""
    gave, head = "; ".join(each.text(unit) for each in one.gave), HEADS[one.name]
    missing = "" if one.missing is None else one.missing.text(unit)
    parts = [f"{head}: {gave}." if gave else f"{head}, missing: {missing}."]
    if gave and missing:
        parts.append(f"Missing: {missing}.")
    return " ".join([*parts, one.good_for[:1].upper() + one.good_for[1:] + "."])


def first_runs_steps(three: Sequence[FirstRun], unit: Unit) -> list[tuple[str, str]]:
    """The three in their order, each with its sentences after a word for how it stands: on record, next, later.

    The next one is only named: what it misses and is good for is the sentence that asks for it.
    """
    coming = [one for one in three if not one.done]
    stands = ["on record" if one.done else "next" if one is coming[0] else "later" for one in three]
    return [
        (word, f"{HEADS[one.name]}." if word == "next" else first_run_words(one, unit))
        for word, one in zip(stands, three, strict=True)
    ]


def first_runs_json(found: Mapping[str, Sequence[FirstRun]], unit: Unit) -> dict[str, Any]:
    """The same for programs."""
    return {
        "schema": "soakwitness/first-runs/1",
        "furnaces": [
            {
                "furnace": furnace,
                "first_runs": [
                    {
                        "name": one.name,
                        "done": one.done,
                        "gave": [each.text(unit) for each in one.gave],
                        "missing": None if one.missing is None else one.missing.text(unit),
                        "good_for": one.good_for,
                        "settle": one.settle,
                    }
                    for one in three
                ],
            }
            for furnace, three in found.items()
        ],
    }
