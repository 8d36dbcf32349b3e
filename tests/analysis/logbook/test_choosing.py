"""Which of the pieces that are named are suspect, and which count as good."""

from __future__ import annotations

from pathlib import Path

from soakwitness.analysis.logbook.charges import charge_pieces
from soakwitness.analysis.logbook.evidence import choose
from soakwitness.analysis.logbook.hardness import add_hardness
from soakwitness.analysis.logbook.opening import LogBook
from soakwitness.analysis.logbook.runs import give_recipe
from soakwitness.analysis.metallurgy.hardness_readings import HardnessReading
from tests.furnace_days import HARDEN
from tests.log_books import STAMP, book_with_run


def charged(folder: Path, **hrc: float) -> tuple[LogBook, str]:
    """A run by a recipe that wants 58 to 61 HRC in the end, and its pieces."""
    book, run = book_with_run(folder, *hrc)
    give_recipe(book, run, "Chef's blades, harden", HARDEN, stamp=STAMP)
    charge_pieces(book, list(hrc), run=run, stamp=STAMP)
    for name, value in hrc.items():
        add_hardness(
            book, name, HardnessReading((value,) * 3), measured_utc="2026-11-26T10:00:00Z", side="after",
            step="second temper",
            stamp=STAMP,
        )  # fmt: skip
    return book, run


def test_a_piece_just_inside_the_limits_stays_suspect_beside_soft_ones(tmp_path: Path) -> None:
    # 58.2 is nearer to 57 than to the middle of the limits, 59.5; 59.0 is not
    book, run = charged(tmp_path, A=57.0, B=58.2, C=59.0)
    for asked in (["A", "B", "C"], [run]):
        found = choose(book, asked)
        assert sorted(p.id for p in found.suspects) == ["A", "B"]


def test_pieces_that_are_all_inside_the_limits_are_all_taken_as_named(tmp_path: Path) -> None:
    book, _ = charged(tmp_path, A=58.1, B=60.8)
    assert sorted(p.id for p in choose(book, ["A", "B"]).suspects) == ["A", "B"]


def test_where_soft_ones_lie_close_to_the_limit_none_inside_is_called_as_soft(tmp_path: Path) -> None:
    # 58.0 is the limit: 57.9 to the middle are 1.6 points, and 58.6 is nearer to neither by the tester's reach
    book, _ = charged(tmp_path, A=57.9, B=58.8)
    assert [p.id for p in choose(book, ["A", "B"]).suspects] == ["A"]
