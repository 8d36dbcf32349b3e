"""Plans tried in furnaces whose parameters the plan does not know, by a hand that had not read its rules.

Long form: python -m tests.campaigns.foreign_plans [PLANS [FIRST]]
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
import traceback
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from unittest.mock import patch

from tests.foreign_kiln import Heated
from tests.foreign_plans import SORTS, Case, Lived, a_case, done, lived
from tests.plan_entry import PlanAnswer, ask


@dataclass(frozen=True)
class Tried:
    """One plan and what came of it; ``broke`` is why there is none."""

    case: Case
    answer: PlanAnswer | None = None
    heated: Heated | None = None
    had: tuple[Lived, ...] = ()
    broke: str = ""

    @property
    def asked_s(self) -> float:
        return 60.0 * self.case.wish.hold_min

    @property
    def both(self) -> bool:
        return self.answer is not None and self.answer.both

    def excess(self) -> list[float]:
        """Of each blade, as a share of the soak asked."""
        return [had.soak_s / self.asked_s - 1.0 for had in self.had]

    def short(self) -> list[int]:
        """Blades that had less than was promised."""
        return [k for k, had in enumerate(self.had) if self.both and had.soak_s < self.asked_s - 1.0]

    def long(self) -> list[int]:
        """Blades that had more than is allowed."""
        most = self.case.wish.at_most_min
        return [] if most is None else [k for k, had in enumerate(self.had) if had.above_s > 60.0 * most + 1.0]

    def lags(self) -> list[tuple[float, float, float, float | None]]:
        """Of each blade: low, best and high as planned, and the truth [s]."""
        if self.answer is None:
            return []
        pieces = self.answer.all_said["holds"][-1]["pieces"]
        names = ("low_s", "best_s", "high_s")
        said = [tuple(float(p["lag_s"][n] if p["lag_s"][n] is not None else 1e9) for n in names) for p in pieces]
        return [(*three, had.lag_s) for three, had in zip(said, self.had, strict=True)]  # type: ignore[misc]

    def lag_out(self) -> list[int]:
        """Blades whose lag lies outside its bounds by more than one step of the kiln.

        Of one that came out before it was in the band only so much is known: that it lagged for longer than it was in.
        """
        out_s = () if self.answer is None else self.answer.out_s
        rows = enumerate(zip(self.lags(), out_s, strict=True))
        return [
            k
            for k, ((low, _, high, lag), had_s) in rows
            if (high < had_s if lag is None else not low - 5.0 <= lag <= high + 5.0)
        ]

    def failings(self) -> list[str]:
        rows = (("short", self.short()), ("too long", self.long()), ("lag", self.lag_out()))
        return [f"broke: {self.broke}"] if self.broke else [name for name, blades in rows if blades]


def try_one(seed: int) -> Tried:
    """Draw, ask, do, and look."""
    case = a_case(seed)
    with tempfile.TemporaryDirectory() as folder:
        try:
            with patch("os.cpu_count", return_value=1):  # a dozen runs are read sooner than other processes start
                answer = ask(Path(folder), case.question)
        except Exception as problem:  # a plan that breaks is a finding, and the next is still wanted
            where = traceback.extract_tb(problem.__traceback__)[-1]
            return Tried(case, broke=f"{type(problem).__name__} {str(problem)[:300]} ({where.filename}:{where.lineno})")
    heated = done(case, answer)
    return Tried(case, answer, heated, lived(case, heated))


def told(one: Tried) -> str:
    """One line: what failed, what was so, and what the plan said, in minutes."""
    head = f"{one.case.seed} {', '.join(one.failings()) or 'met'}: {one.case}"
    if one.answer is None:
        return head
    answer = one.answer
    truth = ", ".join(
        f"{h.mm:g} mm {h.soak_s / 60:.1f} min lag {'never' if h.lag_s is None else format(h.lag_s / 60, '.1f')}"
        for h in one.had
    )
    said = ", ".join(
        f"{'-'.join(f'{s / 60:.1f}' for s in soak)} lag {'-'.join(f'{s / 60:.1f}' for s in lag[:3])}"
        for soak, lag in zip(answer.soak_s, one.lags(), strict=True)
    )
    return f"{head}. Truth: {truth}. Said ({'both' if answer.both else 'not both'}): {said}"


def _share(good: int, of: int) -> str:
    return f"{good}/{of} ({100 * good / of:.0f} %)" if of else "none"


def table(tries: Sequence[Tried]) -> list[str]:
    """The numbers, a block for each sort of question."""
    rows = []
    for sort in (*SORTS, "generic", "all"):
        among = [t for t in tries if sort in (t.case.sort, "all") or (sort == "generic" and t.case.sort != "measured")]
        rows += [f"{sort}: {len(among)} plans, {sum(bool(t.broke) for t in among)} broke", *_block(among)]
    return rows


def _block(among: Sequence[Tried]) -> list[str]:
    sure = [t for t in among if t.both]
    blades = sum(len(t.had) for t in sure)
    excess = sorted(e for t in sure for e in t.excess())
    lags = [(t, lag) for t in among for lag in t.lags()]
    within = sum(len(t.had) - len(t.lag_out()) for t in among)
    shown = [
        (low, had.shown_lag_s, high) for t in among for (low, _, high, _), had in zip(t.lags(), t.had, strict=True)
    ]
    also = sum(lag is not None and low - 5.0 <= lag <= high + 5.0 for low, lag, high in shown)
    best = sum(lag is not None and abs(b - lag) <= max(0.15 * lag, 5.0) for _, (_, b, _, lag) in lags)
    bounded = [t for t in among if t.case.wish.at_most_min is not None and t.answer is not None]
    worst = [min(t.excess()) for t in sure if t.had]
    rows = [
        f"  soak met: plans {_share(sum(not t.short() for t in sure), len(sure))}, "
        f"blades {_share(blades - sum(len(t.short()) for t in sure), blades)}",
        f"  a most asked: {len(bounded)}, not both: {sum(not t.both for t in bounded)}, exceeded: "
        f"{sum(bool(t.long()) for t in bounded if t.both)} where both, "
        f"{sum(bool(t.long()) for t in bounded if not t.both)} where not both",
        f"  lag within bounds: {_share(within, len(lags))}, from the display's entry {_share(also, len(lags))}, "
        f"best within 15 % (or 5 s): {_share(best, len(lags))}",
    ]
    if excess:
        high = excess[int(0.9 * (len(excess) - 1))]
        rows.append(
            f"  excess: median {100 * statistics.median(excess):.0f} %, nine tenths {100 * high:.0f} %; "
            f"of each plan's shortest blade: median {100 * statistics.median(worst):.0f} %"
        )
    return rows


def main(plans: int = 60, first: int = 0) -> int:
    """Print a line for each failure and the table, as far as it came where it is interrupted; 1 where one failed."""
    began = time.monotonic()
    tries: list[Tried] = []
    try:
        for seed in range(first, first + plans):
            tries.append(try_one(seed))
            if tries[-1].failings():
                print(told(tries[-1]), flush=True)
            if len(tries) % 10 == 0:
                print(f"... {len(tries)} plans, next seed {seed + 1}, {time.monotonic() - began:.0f} s", flush=True)
    finally:
        print("\n".join(table(tries)), flush=True)
    return int(any(one.failings() for one in tries))


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:3])))
