"""What all suspects share and no good piece has, in one run or over several: a contrast, told with its chance."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import comb

from soakwitness.analysis.audit.contrasts.case import Case
from soakwitness.analysis.audit.contrasts.statistics import apart, chance_of_groups, chance_of_split
from soakwitness.analysis.evidence.batch_evidence import PieceEvidence

Get = Callable[[PieceEvidence], str | None]
FEW = 0.5
TOKEN = re.compile(r"\d+|[^\W\d_]+")


@dataclass(frozen=True)
class Shared:
    """What sets suspects apart: their value, that of the good ones, and the chance that it falls so by itself."""

    bad: str
    good: str
    chance: float
    bad_count: int
    good_count: int
    runs: int

    @property
    def odds(self) -> str:
        """The chance in words."""
        return f"by chance 1 in {max(1, round(1 / self.chance))}"


def split_by(case: Case, get: Get) -> tuple[str, str, float] | None:
    """Whether an attribute puts suspects and good siblings of one run wholly apart.

    ``get``: the attribute of a piece, None where not known. Returns the suspects' values, the siblings' values, and the
    probability that chance splits them so.
    """
    bad = {get(p) for p in case.suspects_here}
    well = {get(p) for p in case.siblings}
    if not bad or not well or None in bad or None in well or bad & well:
        return None
    sizes = Counter(get(p) for p in (*case.suspects_here, *case.siblings))
    chance = chance_of_groups(list(sizes.values()), len(case.suspects_here))
    if chance > FEW:
        return None
    return ", ".join(sorted(str(b) for b in bad)), ", ".join(sorted(str(w) for w in well)), chance


def part_of_rack(case: Case) -> tuple[str, str, float] | None:
    """Whether the suspects stood in one part of the rack: a word or letter of the place, or one end of its numbers."""
    bad = [p.place for p in case.suspects_here]
    well = [p.place for p in case.siblings]
    if not bad or not well or None in bad or None in well:
        return None
    of = {p: TOKEN.findall(p.casefold()) for p in (*bad, *well) if p}
    common = set.intersection(*(set(of[p]) for p in bad if p)) - {t for p in well if p for t in of[p]}
    words = sorted(t for t in common if not t.isdigit())
    if words:
        others = {t for p in well if p for t in of[p]} - {t for p in bad if p for t in of[p]}
        names = ", ".join(sorted(t for t in others if not t.isdigit())) or "elsewhere"
        return words[0], names, chance_of_split(len(bad), len(well))
    numbers = [[int(t) for t in of[p] if t.isdigit()] for p in (*bad, *well) if p]
    if len({len(n) for n in numbers}) == 1 and len(numbers[0]) == 1:
        low, high = [n[0] for n in numbers[: len(bad)]], [n[0] for n in numbers[len(bad) :]]
        if abs(apart([float(n) for n in low], [float(n) for n in high])) == 1.0:
            return _span(low), _span(high), chance_of_split(len(low), len(high))
    return None


def _span(numbers: Sequence[int]) -> str:
    least, most = min(numbers), max(numbers)
    return str(least) if least == most else f"{least} to {most}"


def shared_across(case: Case, get: Get) -> Shared | None:
    """Whether all suspects, whichever runs they are of, share what no good piece has.

    The chance counts runs and not pieces: pieces of one run share most things anyway. With k of n groups of one run and
    one value it is 1 in "k of n". None where a piece of either side is not known, or no good run is there.
    """
    bad = {get(p) for p in case.everyone}
    others = [p for p in (*case.evidence.good, *case.siblings) if get(p) is not None]
    well = {get(p) for p in others}
    if len(bad) != 1 or None in bad or not well or bad & well:
        return None
    groups = {(p.harden, get(p)) for p in case.everyone}
    good = {(p.harden, get(p)) for p in others}
    return Shared(
        str(next(iter(bad))),
        ", ".join(sorted(str(w) for w in well)),
        1.0 / comb(len(groups) + len(good), len(groups)),
        len(case.everyone),
        len(others),
        len({run for run, _ in good}),
    )


def lot_of(piece: PieceEvidence) -> str | None:
    """Its lot of steel."""
    return piece.lot


def steel_of(piece: PieceEvidence) -> str | None:
    """Its steel."""
    return piece.steel


def place_of(piece: PieceEvidence) -> str | None:
    """Where it stood."""
    return piece.place


def tester_of(piece: PieceEvidence) -> str | None:
    """The tester that the deciding readings are of; None where several were used."""
    tests = [h for h in piece.hardness if h.final] or [h for h in piece.hardness if h.as_quenched]
    testers = {h.tester for h in tests}
    return next(iter(testers)) if len(testers) == 1 else None


def operator_of(case: Case) -> Get:
    """Who ran the hardening."""
    return lambda piece: case.evidence.operators.get(piece.harden or "")


def thermocouple_of(case: Case) -> Get:
    """The control sensor's life in the hardening."""

    def get(piece: PieceEvidence) -> str | None:
        run = case.evidence.runs.get(piece.harden or "")
        return None if run is None or not any(v is not None for v in run.sensor.key) else _life(run.sensor.key)

    return get


def _life(key: tuple[object, ...]) -> str:
    return ", ".join(str(part) for part in key[1:] if part is not None) or f"life {key[0]}"


def oven_of(case: Case) -> Get:
    """The oven of its tempers, by their runs' furnace or as entered; None where several were used or none is known."""

    def get(piece: PieceEvidence) -> str | None:
        ovens = {case.evidence.runs[r].furnace for r in piece.tempers if r in case.evidence.runs}
        ovens |= {t.oven for t in piece.treatments if t.kind == "temper" and t.oven is not None}
        return next(iter(ovens)) if len(ovens) == 1 else None

    return get
