"""A log book that the release with schema version 1 made, opened and judged by this one."""

from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path

import pytest

from soakwitness.analysis.logbook import opening
from soakwitness.analysis.logbook.charges import pieces_in_run
from soakwitness.analysis.logbook.copies import copy_before_recompute
from soakwitness.analysis.logbook.dispositions import dispositions_of, finding_gone
from soakwitness.analysis.logbook.kept import earlier_verdicts, kept_answer, last_verdict, stale_runs
from soakwitness.analysis.logbook.opening import open_logbook, statements
from soakwitness.analysis.logbook.runs import list_runs, run_named, take_in
from soakwitness.analysis.recomputing.refreshing import refresh
from soakwitness.analysis.rules import RULES_VERSION
from tests.log_books import LATER
from tests.make_sample_logs import SAMPLES

ROWS = Path(__file__).with_name("book_of_schema_001.sql")


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """Folder of that log book, its two runs in it."""
    for name in ("good", "short-soak"):
        shutil.copytree(SAMPLES / name, tmp_path / "runs" / name)
    raw = sqlite3.connect(tmp_path / "logbook.sqlite", isolation_level=None)
    raw.execute("PRAGMA foreign_keys = OFF")
    tables = list(statements(Path(opening.__file__).with_name("schema_001.sql")))
    triggers = [statement for statement in tables if "CREATE TRIGGER" in statement]
    for statement in (*(s for s in tables if s not in triggers), *statements(ROWS), *triggers):
        raw.execute(statement)
    raw.execute("PRAGMA user_version = 1")
    raw.close()
    return tmp_path


def test_nothing_is_lost_and_the_old_book_is_copied(old: Path) -> None:
    before = sqlite3.connect(old / "logbook.sqlite")
    tables = [row[0] for row in before.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    columns = {name: [row[1] for row in before.execute(f"PRAGMA table_info({name})")] for name in tables}
    rows = {name: before.execute(f"SELECT {', '.join(columns[name])} FROM {name}").fetchall() for name in tables}
    before.close()
    assert len(rows["verdicts"]) == 2
    with open_logbook(old) as book:
        assert book.row("PRAGMA user_version")[0] == opening.SCHEMA_VERSION
        assert book.rows("PRAGMA foreign_key_check") == []
        assert [row[0] for row in book.rows("PRAGMA integrity_check")] == ["ok"]
        for name in tables:
            assert [tuple(row) for row in book.rows(f"SELECT {', '.join(columns[name])} FROM {name}")] == rows[name]
    copy = sqlite3.connect(old / "copies" / f"before-schema-{opening.SCHEMA_VERSION}.sqlite")
    assert copy.execute("PRAGMA user_version").fetchone() == (1,)
    assert copy.execute("SELECT count(*) FROM verdicts").fetchone() == (2,)
    copy.close()


def test_a_book_that_was_migrated_is_the_same_as_a_new_one(old: Path, tmp_path: Path) -> None:
    def schema(folder: Path) -> set[tuple[str, str]]:
        with open_logbook(folder, create=True) as book:
            return {tuple(row) for row in book.rows("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL")}

    assert schema(old) == schema(tmp_path / "new")


def test_its_verdicts_are_of_earlier_rules_until_they_are_made_anew(old: Path) -> None:
    """The wire's class stands in the log book only: earlier rules did not see it, these do."""
    with open_logbook(old) as book:
        assert [(run.verdict, run.rules) for run in list_runs(book)] == [("pass", "2"), ("fail", "2")]
        take_in(book, stamp=LATER)
        run = run_named(book, "short-soak").run
        assert len(stale_runs(book)) == 2
        assert kept_answer(book, run) is None
        copy = copy_before_recompute(book, stamp=LATER)
        done = refresh(book, stamp=LATER)
        assert done.troubles == ()
        assert len(done.changed) == 2
        assert all("sensor error: none, now tolerance class" in change.why for change in done.changed)
        now, (earlier,) = last_verdict(book, run), earlier_verdicts(book, run)
        assert now is not None
        assert (now.rules, earlier.rules, earlier.verdict) == (RULES_VERSION, "2", "fail")
        assert now.answer["rules"] == RULES_VERSION
        assert earlier.answer["sensor_error"]["source"] == "none"
    kept = sqlite3.connect(copy)
    assert kept.execute("SELECT DISTINCT analysis_version FROM verdicts").fetchall() == [("2",)]
    kept.close()


def test_what_people_entered_counts_as_before(old: Path) -> None:
    with open_logbook(old) as book:
        take_in(book, stamp=LATER)
        refresh(book, stamp=LATER)
        run = run_named(book, "short-soak").run
        assert [(p.piece, p.charge, p.foil, p.thickness_mm) for p in pieces_in_run(book, run)] == [
            ("P-01", 1, True, 3.0),
            ("P-02", 1, True, 3.0),
        ]
        (decided,) = dispositions_of(book, run)
        assert (decided.finding, decided.decision, decided.why) == ("short soak", "use with restriction", "60 HRC")
        assert finding_gone(book, decided) is None


def test_a_decision_on_a_finding_of_earlier_rules_is_shown_as_such(old: Path) -> None:
    with open_logbook(old) as book:
        told = "UPDATE dispositions SET finding = 'wrong unit suspected' WHERE finding = 'short soak'"
        book.connection.execute(told)
        named = 'replace(answer, \'"code":"short soak"\', \'"code":"wrong unit suspected"\')'
        book.connection.execute(f"UPDATE verdicts SET answer = {named}")
        take_in(book, stamp=LATER)
        refresh(book, stamp=LATER)
        (decided,) = dispositions_of(book, run_named(book, "short-soak").run)
        gone = finding_gone(book, decided)
    assert gone is not None
    assert (gone.since_utc, gone.rules) == (LATER.at_utc, RULES_VERSION)
