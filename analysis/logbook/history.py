"""One piece's whole life: runs, treatments and hardness in order, and gaps in the order that its recipe states."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from soakwitness.analysis.logbook.batches import batches_of
from soakwitness.analysis.logbook.charges import Charged, runs_of_piece
from soakwitness.analysis.logbook.hardness import HardnessEntry, hardness_of
from soakwitness.analysis.logbook.inspections import Inspection, inspections_of
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.photos import Photo, photos_of
from soakwitness.analysis.logbook.piece_notes import PieceNote, notes_of
from soakwitness.analysis.logbook.pieces import Piece, piece_named
from soakwitness.analysis.logbook.runs import RunEntry, recipe_text, runs_listed
from soakwitness.analysis.logbook.treatments import QUENCHES, Treatment, treatments_of
from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.recipes.waits import COLD_WITHIN_S, TEMPER_WITHIN_S
from soakwitness.analysis.record.moments import seconds_between
from soakwitness.firmware_bridge.common.surfaces import NextCommand
from soakwitness.firmware_bridge.common.wording import Says, duration, joined

HARDENS_FROM_C = 740.0  # below the lowest hardening temperature of any steel treated here, above any temper


@dataclass(frozen=True)
class Step:
    """One thing that happened to a piece.

    ``kind`` is a word of the recipe's order, ``hardness``, ``photo``, ``note``, or what was looked at; ``not_done``: it
    was left out, so one said.
    """

    kind: str
    start_utc: str
    end_utc: str | None
    source: RunEntry | Treatment | HardnessEntry | Inspection | Photo | PieceNote
    charged: Charged | None = None
    not_done: bool = False


@dataclass(frozen=True)
class OrderFinding:
    """A gap in the order of steps. ``severity`` is ``warn`` for what is on record, ``note`` for what is not."""

    code: str
    severity: str
    says: str
    next: Says


@dataclass(frozen=True)
class History:
    """A piece's life. ``waiting`` are charges that still wait for their run."""

    piece: Piece
    batches: tuple[str, ...]
    steps: tuple[Step, ...]
    findings: tuple[OrderFinding, ...]
    waiting: tuple[Charged, ...]


def piece_history(book: LogBook, name: str) -> History:
    """Put a piece's life together."""
    piece = piece_named(book, name)
    charged = runs_of_piece(book, piece.id)
    recipes = Recipes(book)
    steps: list[Step] = []
    for charge in charged:
        for entry in runs_listed(book, [charge.run] if charge.run else []):
            for kind in run_kinds(recipes.of(entry), hardened=any(s.kind == "harden" for s in steps)):
                steps.append(Step(kind, entry.started_utc, entry.ended_utc, entry, charge))
    steps += [Step(t.kind, t.start_utc, t.end_utc, t, not_done=t.not_done) for t in treatments_of(book, piece.id)]
    steps += [Step("hardness", h.measured_utc, None, h) for h in hardness_of(book, piece.id)]
    steps += [Step(i.kind, i.seen_utc, None, i) for i in inspections_of(book, piece.id)]
    steps += [Step("photo", p.taken_utc, None, p) for p in photos_of(book, piece.id)]
    steps += [Step("note", n.at_utc, None, n) for n in notes_of(book, piece.id)]
    steps.sort(key=lambda s: s.start_utc)
    findings = order_findings(steps, stated_order(steps, recipes))
    return History(
        piece, batches_of(book, piece.id), tuple(steps), findings, tuple(c for c in charged if c.run is None)
    )


class Recipes:
    """Recipes of the log book, each parsed once; None where a run has none or its text cannot be read."""

    def __init__(self, book: LogBook) -> None:
        self._book = book
        self._parsed: dict[str, Recipe | None] = {}

    def of(self, entry: RunEntry) -> Recipe | None:
        """Recipe a run is judged by."""
        return self.by_digest(entry.recipe_digest)

    def by_digest(self, digest: str | None) -> Recipe | None:
        """Recipe of this digest."""
        from soakwitness.analysis.errors import AnalysisError
        from soakwitness.analysis.recipes.recipe_file import parse_recipe

        if digest is None:
            return None
        if digest not in self._parsed:
            try:
                self._parsed[digest] = parse_recipe(recipe_text(self._book, digest), f"recipe {digest[:12]}")
            except AnalysisError:
                self._parsed[digest] = None
        return self._parsed[digest]


def run_kinds(recipe: Recipe | None, *, hardened: bool) -> tuple[str, ...]:
    """What a run is in a piece's life, by its recipe.

    ``hardened``: whether the piece was hardened before; a cooler run then is a temper, else a stress relief. Returns
    words of a recipe's order; two tempers where the recipe repeats; ``run`` where there is no recipe.
    """
    if recipe is None or not recipe.holds:
        return ("run",)
    if max(hold.target_c for hold in recipe.holds) >= HARDENS_FROM_C:
        return ("harden",)
    if not hardened:
        return ("stress relief",)
    return ("temper",) * max(1, recipe.repeat)


def stated_order(steps: Sequence[Step], recipes: Recipes) -> tuple[str, ...]:
    """Order of steps as the recipe of the piece's hardening states it; empty where it states none."""
    for step in steps:
        if step.kind == "harden" and isinstance(step.source, RunEntry):
            recipe = recipes.of(step.source)
            if recipe is not None and recipe.order:
                return recipe.order
    return ()


def order_findings(steps: Sequence[Step], order: Sequence[str]) -> tuple[OrderFinding, ...]:
    """Compare what is on record with the order the recipe states.

    ``order``: words of the recipe's order; empty where it states none. Returns steps that came late or in another order
    as warnings; what is not on record as notes: not on record is not the same as not done.
    """
    told = [s for s in steps if s.kind in ("stress relief", "harden", "cold treatment", "temper")]
    done = [s for s in told if not s.not_done]
    late = _late([s for s in steps if not s.not_done])
    return (*_not_on_record(told, order), *_left_out(told), *_out_of_order(done, order), *late)


def _left_out(told: Sequence[Step]) -> list[OrderFinding]:
    """What somebody said was not done, and was not done later either."""
    return [
        OrderFinding(
            "not done", "warn", f"The {s.kind} was not done.", Says("Do it if it still can be, or audit the piece.")
        )
        for i, s in enumerate(told)
        if s.not_done and not any(later.kind == s.kind and not later.not_done for later in told[i + 1 :])
    ]


def _not_on_record(told: Sequence[Step], order: Sequence[str]) -> list[OrderFinding]:
    """What nobody said anything of, neither that it was done nor that it was left out."""
    found: list[OrderFinding] = []
    for word in dict.fromkeys(order):
        wanted, seen = list(order).count(word), sum(s.kind == word for s in told)
        for number in range(seen + 1, wanted + 1):
            which = f"{_ORDINALS[min(number, len(_ORDINALS)) - 1]} {word}" if wanted > 1 else word
            says = f"The {which} that the recipe states is not on record."
            enter = joined(["Enter it:", NextCommand.of("piece", "treatment")])
            found.append(OrderFinding("not on record", "note", says, enter))
    return found


_ORDINALS = ("first", "second", "third", "fourth", "fifth", "next")


def _out_of_order(done: Sequence[Step], order: Sequence[str]) -> list[OrderFinding]:
    seen = [s.kind for s in done if s.kind in order]
    wanted = [word for word in order if word in seen]
    if list(dict.fromkeys(seen)) == list(dict.fromkeys(wanted)):
        return []
    says = f"Done in the order {', '.join(dict.fromkeys(seen))}; the recipe states {', '.join(dict.fromkeys(wanted))}."
    return [OrderFinding("other order", "warn", says, Says("Check the times that were entered."))]


def _late(steps: Sequence[Step]) -> list[OrderFinding]:
    found: list[OrderFinding] = []
    quenched: str | None = None
    for step in steps:
        if step.kind == "harden" or step.kind in QUENCHES:
            quenched = step.end_utc or step.start_utc
        elif step.kind in ("temper", "cold treatment") and quenched is not None:
            waited_s = seconds_between(quenched, step.start_utc)
            limit_s = TEMPER_WITHIN_S if step.kind == "temper" else COLD_WITHIN_S
            if waited_s > limit_s:
                says = (
                    f"The {step.kind} began {duration(waited_s)} after what came before it; "
                    f"common practice is within {duration(limit_s)}."
                )
                code = "tempered late" if step.kind == "temper" else "cold treatment late"
                found.append(OrderFinding(code, "warn", says, Says("Look for cracks, and for low hardness.")))
            quenched = None if step.kind == "temper" else step.end_utc or step.start_utc
    return found
