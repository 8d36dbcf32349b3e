"""``verify``, what it leaves in the log book, ``recompute`` and ``sheet``: one answer on random log books.

Run it: ``python tests/campaigns/one_answer.py [LOG_BOOKS [FIRST_SEED]]`` (200 from 0 by default). The short form is
``tests/test_one_answer.py``.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.random_books import answers, differing, drawn_book


def main() -> None:
    """Print where the answers differ, and the counts."""
    books = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    differ, verdicts, kinds = 0, Counter[str](), Counter[str]()
    for seed in range(first, first + books):
        with tempfile.TemporaryDirectory() as folder:
            drawn = drawn_book(seed, Path(folder))
            found = answers(drawn)
        kinds.update(drawn.kinds)
        verdicts[found["verify"]["verdict"]] += 1
        told = differing(found)
        if told:
            differ += 1
            print(f"  seed {seed} ({', '.join(drawn.kinds)}): {len(told)} differences, the first: {told[0]}")
    print(f"{books} log books, {differ} with answers that differ; verdicts: {dict(verdicts)}")
    print("  " + ", ".join(f"{kind} {count}" for kind, count in sorted(kinds.items())))


if __name__ == "__main__":
    main()
