"""What ``verify`` says first: the sentence, the next act, a line a hold, what is not known; at most twelve lines."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from soakwitness.cli.options.screen import said_first, screen_width, wrapped
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import duration_of, duration_range, rate, temperature

if TYPE_CHECKING:
    from soakwitness.analysis.recipes.recipe import Recipe
    from soakwitness.analysis.verification.results.verification import (
        HoldResult,
        PieceResult,
        RampResult,
        Verification,
    )

MOST_LINES = 12
HEADS = {"pass": "green", "fail": "red", "not proven": "yellow"}


@dataclass(frozen=True)
class ShortLine:
    """A line, and how soon it is dropped where there is no room: 0 never."""

    text: str
    drop: int = 0


def short_lines(recipe: Recipe, found: Verification, *, unit: Unit, ask: str = "last") -> list[str]:
    """The verdict as it is read at the furnace; ``ask`` is how the run was called, for the command that says more."""
    wide = screen_width()
    lines = [
        ShortLine(text)
        for text in (*verdict_lines(found, unit=unit), *wrapped(f"{recipe.name}, run {found.run}", wide))
    ]
    for step in found.steps:
        for line in _ramp(step, unit) if step.kind == "ramp" else _hold(step, unit):
            lines += [replace(line, text=text) for text in wrapped(line.text, wide, indent="   ")]
    for finding in found.findings:
        if finding.severity == "fail" and finding.step is None and finding.brief is not None:
            brief = finding.brief.text(unit)
            lines += [ShortLine(text) for text in wrapped(f"{brief[:1].upper()}{brief[1:]}. Fail.", wide, indent="   ")]
    unknown = "; ".join(part.text(unit) for part in found.in_short.not_known)
    last = wrapped(f"Not known: {unknown}.", wide) if unknown else []
    more, command = "All of it:", f"soakwitness verify {ask} --all"  # the command is to be copied: never broken
    last += [f"{more} {command}"] if len(more) + 1 + len(command) <= wide else [more, f"   {command}"]
    room = MOST_LINES - len(last)
    for level in (2, 1):
        while len(lines) > room and any(line.drop == level for line in lines):
            del lines[max(k for k, line in enumerate(lines) if line.drop == level)]
    return [*(line.text for line in lines[:room]), *last]


def verdict_lines(found: Verification, *, unit: Unit) -> list[str]:
    """The sentence with the next act, its first words emphasised."""
    says, act = found.in_short.says.text(unit), found.in_short.next
    text = f"{says} {act.text(unit) if act is not None else 'Nothing to do.'}"
    return said_first(text, ":" if found.verdict != "pass" else ".", HEADS[found.verdict])


def _ramp(ramp: RampResult, unit: Unit) -> Iterator[ShortLine]:
    """A ramp is told where its rate was asked for and not kept."""
    if ramp.verdict in ("fail", "not proven"):
        ran = rate(ramp.rate_c_per_h, unit) if ramp.rate_c_per_h is not None else "not found"
        yield ShortLine(
            f"Step {ramp.step}, ramp to {temperature(ramp.to_c, unit)}: {ran}. {ramp.verdict.capitalize()}."
        )


def _hold(hold: HoldResult, unit: Unit) -> Iterator[ShortLine]:
    head = f"Step {hold.step}, {temperature(hold.target_c, unit)}:"
    end = f"{hold.verdict.capitalize()}." if hold.judged else "Reported only."
    drop = 1 if hold.verdict == "pass" or not hold.judged else 0
    if not hold.found or hold.soak_s is None:
        yield ShortLine(f"{head} {'not found' if hold.on_record else 'not on record'}. {end}", drop)
        return
    words = f"{head} {soak_of(hold.soak_s.best, hold.soak_s.low, hold.soak_s.high, hold.required_s)}"
    if hold.highest_from_target_c is not None and not hold.overshoot_is_at_least:
        words += f", hottest {temperature(hold.target_c + hold.highest_from_target_c, unit)}"
    yield ShortLine(f"{words}. {end}", drop)
    named = [p for p in hold.pieces if p.piece]
    if len(named) > 1 and len({p.verdict for p in named}) > 1:
        yield from (_piece(piece, hold) for piece in named)


def _piece(piece: PieceResult, hold: HoldResult) -> ShortLine:
    soak = soak_of(piece.soak_s.best, piece.soak_s.low, piece.soak_s.high, hold.required_s)
    return ShortLine(f"- {piece.piece}: {soak}. {piece.verdict.capitalize()}.", 2 if piece.verdict == "pass" else 0)


def soak_of(best_s: float, low_s: float, high_s: float, asked_s: float) -> str:
    """``18 of 15 min``, with its bounds where they matter: ``18 of 15 min (4.9 to 18.1)``."""
    words = duration_of(best_s, asked_s)
    if min(low_s, high_s) < asked_s <= max(low_s, high_s) or high_s - low_s > 0.1 * asked_s:
        words += "".join(duration_range(best_s, low_s, high_s).partition(" (")[1:])
    return words
