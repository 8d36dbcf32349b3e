"""Audit simulated batches with a known cause and good ones, and say how often the right cause stands first.

.venv/bin/python -m tests.campaigns.batches [--bad 200] [--good 100] [--seed 0] [--show]
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections import Counter
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from soakwitness.analysis.audit.auditing import Audit, audit
from soakwitness.analysis.logbook.charges import runs_of_piece
from soakwitness.analysis.logbook.evidence import choose, gather, is_off
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.recomputing.refreshing import refresh
from soakwitness.analysis.record.moments import Stamp
from tests.bad_batches import Shop, Story, bad_batch, ordinary

STAMP = Stamp("2030-01-01T00:00:00Z", "campaign")


@dataclass(frozen=True)
class Outcome:
    """What the audit said of one batch. ``rank`` is the place of the right cause, 0 where it was not named."""

    story: Story
    audit: Audit
    rank: int
    claimed: tuple[str, ...]


def look(book: LogBook, story: Story, names: list[str], *, processes: int = 1) -> Outcome:
    """Audit one batch by its pieces, as ``soakwitness audit`` does."""
    run = runs_of_piece(book, names[0])[0].run
    assert run is not None
    chosen = choose(book, [run])
    refresh(book, stamp=STAMP, runs=chosen.needed, processes=processes)
    found = audit(gather(book, chosen))
    assert story.cause == "good" or any(is_off(book, p) for p in names), f"{story.cause} {story.seed}: no piece is off"
    order = [c.cause for c in found.causes]
    rank = order.index(story.cause) + 1 if story.cause in order else 0
    return Outcome(story, found, rank, tuple(c.cause for c in found.claimed))


def campaign(bad: int, good: int, *, seed: int, processes: int = 1) -> list[Outcome]:
    """Enter all batches into one log book, then audit each."""
    with tempfile.TemporaryDirectory() as folder:
        shop = Shop.opened(Path(folder), datetime(2026, 1, 5, 7, 0, tzinfo=UTC))
        stories = [bad_batch(seed + n) for n in range(bad)] + [ordinary(400_000 + seed + n) for n in range(good)]
        entered = [(story, shop.enter(shop.furnish(story))) for story in stories]
        refresh(shop.book, stamp=STAMP, processes=processes)
        outcomes = [look(shop.book, story, names, processes=1) for story, names in entered]
        shop.book.close()
    return outcomes


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bad", type=int, default=200)
    parser.add_argument("--good", type=int, default=100)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--show", action="store_true")
    asked = parser.parse_args()
    begun = time.monotonic()
    outcomes = campaign(asked.bad, asked.good, seed=asked.seed, processes=2)
    wrong = [o for o in outcomes if o.story.cause != "good"]
    well = [o for o in outcomes if o.story.cause == "good"]
    for o in wrong:
        if asked.show and o.rank != 1:
            top = ", ".join(f"{c.cause} {c.score:g}" for c in o.audit.causes[:4])
            print(f"{o.story.cause} ({o.story.seed}): rank {o.rank}; {top}")
    if wrong:
        first = sum(o.rank == 1 for o in wrong) / len(wrong)
        three = sum(1 <= o.rank <= 3 for o in wrong) / len(wrong)
        print(f"{len(wrong)} bad batches: right cause first {first:.1%}, in the first three {three:.1%}")
        missed = Counter(o.story.cause for o in wrong if o.rank != 1)
        print("  not first:", ", ".join(f"{cause} {n}" for cause, n in missed.most_common()) or "none")
    if well:
        quiet = sum(not o.claimed for o in well) / len(well)
        print(f"{len(well)} good batches: no cause claimed in {quiet:.1%}")
        for o in well:
            if asked.show and o.claimed:
                print("  claimed:", o.claimed, o.story.seed)
    print(f"{time.monotonic() - begun:.0f} s")


if __name__ == "__main__":
    main()
