"""Log books of sample runs for tests of the book's pages."""

from __future__ import annotations

import shutil
from pathlib import Path

from soakwitness.analysis.logbook.charges import charge_pieces
from soakwitness.analysis.logbook.hardness import add_hardness
from soakwitness.analysis.logbook.opening import open_logbook
from soakwitness.analysis.logbook.pieces import Piece, add_pieces
from soakwitness.analysis.logbook.runs import take_in
from soakwitness.analysis.logbook.treatments import add_treatment
from soakwitness.analysis.metallurgy.hardness_readings import HardnessReading
from tests.log_books import STAMP

ROOT = Path(__file__).resolve().parents[2]
SHORT = "20260303T070410Z_shed-furnace_0002"
GOOD = "20260302T070410Z_shed-furnace_0001"


def sample_book(folder: Path, *names: str) -> Path:
    """A log book with sample runs, and C-03 of them hardened in the one that was too short, soft."""
    for name in names:
        shutil.copytree(ROOT / "sample_logs" / name, folder / "runs" / name)
    with open_logbook(folder) as book:
        take_in(book, stamp=STAMP)
        add_pieces(book, [Piece("C-03", steel="S44004", thickness_mm=3.0, customer="Huber")], stamp=STAMP)
        if "short-soak" in names:
            charge_pieces(book, ["C-03"], run=SHORT, foil=True, stamp=STAMP)
        test = HardnessReading((55.1, 55.4, 54.9))
        add_hardness(book, "C-03", test, measured_utc="2026-03-04T08:00:00Z", side="after", step="temper", stamp=STAMP)
        add_treatment(book, ["C-03"], "temper", start_utc="2026-03-03T13:00:00Z", shown_c=200.0, stamp=STAMP)
    return folder
