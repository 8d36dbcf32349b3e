"""Verdicts of earlier rules, and decisions whose finding is gone, as a person meets them."""

from __future__ import annotations

import json
import shutil
import sqlite3
from pathlib import Path

import pytest
from click.testing import CliRunner

from soakwitness.analysis.rules import RULES_VERSION
from soakwitness.cli.main import soakwitness
from tests.make_sample_logs import SAMPLES

RUN = "20260303T070410Z_shed-furnace_0002"


@pytest.fixture
def book(tmp_path: Path) -> Path:
    """A log book whose verdict of a short soak was made by rules 2, with another finding and decisions about it."""
    folder = tmp_path / "book"
    shutil.copytree(SAMPLES / "short-soak", folder / "runs" / "short-soak")
    ask(folder, "verify", "short-soak", "--exit-zero")
    raw = sqlite3.connect(folder / "logbook.sqlite")
    row = raw.execute("SELECT answer FROM verdicts").fetchone()
    answer = json.loads(row[0])
    answer["findings"].append({"code": "stuck reading", "severity": "fail", "step": 4, "says": "", "next": ""})
    answer["steps"][3]["as_read"] = "not proven"
    raw.execute("UPDATE verdicts SET answer = ?, verdict = 'not proven'", (json.dumps(answer),))
    raw.execute("UPDATE verdicts SET analysis_version = '2', made_utc = '2026-03-04T09:00:00Z'")
    raw.execute("UPDATE figures SET analysis_version = '2'")
    for finding in ("stuck reading", "short soak", None):
        raw.execute(
            "INSERT INTO dispositions (run, finding, decision, why, entered_utc, entered_by) "
            "VALUES (?, ?, 'use as it is', '60 HRC', '2026-03-05T09:00:00Z', 'Ana')",
            (RUN, finding),
        )
    raw.commit()
    raw.close()
    return folder


def ask(book: Path, *words: object) -> str:
    env = {"SOAKWITNESS_LOGBOOK": str(book), "SOAKWITNESS_USER": "Ana"}
    done = CliRunner().invoke(soakwitness, [str(word) for word in words], env=env)
    assert done.exit_code == 0, (done.output, done.exception)
    return done.stdout


def test_a_verdict_of_earlier_rules_says_so_in_the_list(book: Path) -> None:
    assert "Paring blades, harden: not proven, by rules 2" in ask(book, "runs")
    (listed,) = json.loads(ask(book, "runs", "--json"))
    assert (listed["verdict"], listed["rules"]) == ("not proven", "2")
    ask(book, "logbook", "recompute")
    assert "Paring blades, harden: fail\n" in ask(book, "runs")


def test_recompute_copies_names_what_changed_and_keeps_the_old(book: Path) -> None:
    said = ask(book, "logbook", "recompute")
    assert said == (
        f"{RUN}: step 4, as read: not proven, now fail; gone: stuck reading (step 4) that fails.\n"
        "1 run recomputed, 1 judged otherwise than before.\n"
    )
    (copy,) = (book / "copies").glob("before-recompute-*.sqlite")
    raw = sqlite3.connect(copy)
    assert raw.execute("SELECT analysis_version FROM verdicts").fetchall() == [("2",)]
    raw.close()
    assert ask(book, "logbook", "recompute") == "0 runs recomputed.\n"
    assert len(list((book / "copies").glob("before-recompute-*.sqlite"))) == 1  # nothing to do, nothing to copy
    lines = ask(book, "logbook", "verdicts", "short-soak").splitlines()
    assert lines[0] == f"{RUN}, Paring blades, harden"
    assert lines[1].startswith(f"  now: fail, by rules {RULES_VERSION}, ")
    assert ": not proven, by rules 2, 2026-03-04 09:00. Then other: step 4" in lines[2]
    now, earlier = reversed(json.loads(ask(book, "logbook", "verdicts", "last", "--json"))["verdicts"])
    assert (now["rules"], earlier["rules"], earlier["verdict"]) == (RULES_VERSION, "2", "not proven")


def test_a_decision_whose_finding_is_gone_is_shown_as_such(book: Path) -> None:
    lines = ask(book, "disposition", "short-soak").splitlines()
    assert lines[0].startswith("stuck reading: use as it is (60 HRC), Ana, 2026-03-05; its finding is gone since 20")
    assert lines[0].endswith(f", by rules {RULES_VERSION}")
    assert lines[1:] == [
        "short soak: use as it is (60 HRC), Ana, 2026-03-05",
        "the whole run: use as it is (60 HRC), Ana, 2026-03-05",
    ]
    told = json.loads(ask(book, "disposition", "short-soak", "--json"))["dispositions"]
    assert [d["finding_gone"] is not None for d in told] == [True, False, False]
    sheet = book.parent / "sheet.html"
    ask(book, "sheet", "short-soak", "--out", sheet)
    words = sheet.read_text()
    assert "Decided on stuck reading: use as it is: 60 HRC; its finding is gone since 20" in words
    assert "Decided on the whole run: use as it is: 60 HRC." in words
    assert "Decided on short soak" not in words  # that one stands beside its finding
