from __future__ import annotations

from pathlib import Path

import pytest

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.dispositions import add_disposition, dispositions_of
from soakwitness.analysis.logbook.entries import strike
from soakwitness.analysis.logbook.hardness import add_hardness, hardness_of
from soakwitness.analysis.logbook.treatments import add_treatment, treatments_of, treatments_since
from soakwitness.analysis.metallurgy.hardness_readings import HardnessReading
from tests.log_books import LATER, STAMP, book_with_run, new_book


def test_hardness_is_kept_with_its_step_and_the_piece_s_thickness(tmp_path: Path) -> None:
    with new_book(tmp_path, "B-001", thickness_mm=0.6) as book:
        _, warnings = add_hardness(
            book, "b-001", HardnessReading((60.0, 60.2), block_value=60.3, block_readings=(61.3,)),
            measured_utc="2026-11-25T10:00:00Z", side="after", step="quench", stamp=STAMP, spot="edge",
        )  # fmt: skip
        assert any("at least 3" in w for w in warnings)
        assert any("+1.0 on its block" in w for w in warnings)
        assert any("section of 0.6 mm is thin" in w for w in warnings)
        (kept,) = hardness_of(book, "B-001")
        assert (kept.stage, kept.spot, kept.test.thickness_mm) == ("after quench", "edge", 0.6)
        assert kept.as_quenched
        assert not kept.final


@pytest.mark.parametrize(
    ("side", "step", "as_quenched", "final"),
    [
        ("after", "quench", True, False),
        ("before", "cold treatment", True, False),
        ("after", "cold treatment", False, False),
        ("before", "temper", False, False),
        ("after", "temper", False, True),
        ("before", "second temper", False, False),
        ("after", "finish", False, True),
        ("before", "quench", False, False),
    ],
)
def test_stages_tell_as_quenched_from_final(
    tmp_path: Path, side: str, step: str, as_quenched: bool, final: bool
) -> None:
    with new_book(tmp_path, "B-001") as book:
        add_hardness(
            book, "B-001", HardnessReading((60.0,) * 3), measured_utc="2026-11-25", side=side, step=step, stamp=STAMP,  # type: ignore[arg-type]
        )  # fmt: skip
        (kept,) = hardness_of(book, "B-001")
        assert (kept.as_quenched, kept.final) == (as_quenched, final)


@pytest.mark.parametrize(
    ("test", "word"),
    [
        (HardnessReading((160.0,)), "160"),
        (HardnessReading(()), "at least three"),
        (HardnessReading((60.0,), "HRX"), "HRX"),
    ],
)
def test_a_reading_that_cannot_be_is_refused(tmp_path: Path, test: HardnessReading, word: str) -> None:
    with new_book(tmp_path, "B-001") as book, pytest.raises(LogBookError, match=word):
        add_hardness(book, "B-001", test, measured_utc="2026-11-25", side="after", step="quench", stamp=STAMP)


def test_an_unknown_step_or_treatment_is_refused(tmp_path: Path) -> None:
    with new_book(tmp_path, "B-001") as book:
        with pytest.raises(LogBookError, match="second temper"):
            add_hardness(
                book,
                "B-001",
                HardnessReading((60.0,)),
                measured_utc="2026-11-25",
                side="after",
                step="bath",
                stamp=STAMP,
            )
        with pytest.raises(LogBookError, match="plate quench"):
            add_treatment(book, ["B-001"], "bath", start_utc="2026-11-25", stamp=STAMP)
        with pytest.raises(LogBookError, match="before the start"):
            add_treatment(
                book, ["B-001"], "temper", start_utc="2026-11-25", end_utc="2026-11-24T10:00:00Z", stamp=STAMP
            )
        with pytest.raises(LogBookError, match="not believable"):
            add_treatment(book, ["B-001"], "cold treatment", start_utc="2026-11-25", lowest_c=-300.0, stamp=STAMP)


def test_a_treatment_of_many_is_entered_for_each_or_for_none(tmp_path: Path) -> None:
    with new_book(tmp_path, "B-001..B-003") as book:
        add_treatment(
            book, ["B-001..B-003"], "cold treatment", start_utc="2026-11-25T18:00:00+01:00",
            end_utc="2026-11-26T06:00:00Z", lowest_c=-78.0, stamp=STAMP,
        )  # fmt: skip
        (kept,) = treatments_of(book, "B-002")
        assert (kept.start_utc, kept.lowest_c) == ("2026-11-25T17:00:00Z", -78.0)
        with pytest.raises(LogBookError, match="no such piece"):
            add_treatment(book, ["B-001", "X"], "temper", start_utc="2026-11-26", stamp=STAMP)
        assert len(treatments_of(book, "B-001")) == 1
        strike(book, "treatments", [kept.entry], why="was B-003", stamp=LATER)
        assert treatments_of(book, "B-002") == ()


def test_dispositions_stand_beside_the_run(tmp_path: Path) -> None:
    book, run = book_with_run(tmp_path)
    with book:
        entry = add_disposition(book, run, "scrap", stamp=STAMP, finding="short soak", step=4, why="soft")
        add_disposition(book, run, "use as it is", stamp=LATER)
        strike(book, "dispositions", [entry], why="measured again", stamp=LATER)
        assert [d.decision for d in dispositions_of(book, run)] == ["use as it is"]
        old = dispositions_of(book, run, struck=True)[0]
        assert (old.finding, old.step, old.struck_why) == ("short soak", 4, "measured again")
        with pytest.raises(LogBookError, match="hold back"):
            add_disposition(book, run, "burn it", stamp=STAMP)
        with pytest.raises(LogBookError, match="no such run"):
            add_disposition(book, "x", "scrap", stamp=STAMP)


def test_what_was_entered_since_a_run_began(tmp_path: Path) -> None:
    with new_book(tmp_path, "B-001..B-003") as book:
        for name, kind, start_utc in (
            ("B-001", "cold treatment", "2026-11-25T18:00:00Z"),
            ("B-001", "temper", "2026-11-25T20:00:00Z"),
            ("B-002", "cold treatment", "2026-11-20T18:00:00Z"),  # before this hardening
        ):
            add_treatment(book, [name], kind, start_utc=start_utc, stamp=STAMP)
        found = treatments_since(book, ["b-001", "B-002", "B-003", "not entered"], since_utc="2026-11-25T07:15:02Z")
        assert found == {"b-001": ("cold treatment", "temper"), "B-002": (), "B-003": (), "not entered": ()}
        (entry,) = (t.entry for t in treatments_of(book, "B-001") if t.kind == "cold treatment")
        strike(book, "treatments", [entry], why="another piece", stamp=STAMP)
        assert treatments_since(book, ["B-001"], since_utc="2026-11-25T07:15:02Z") == {"B-001": ("temper",)}
