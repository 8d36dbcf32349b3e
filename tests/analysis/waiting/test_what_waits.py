"""All that waits together: its order, what is set aside, odd names, an empty book, and what it loads."""

from __future__ import annotations

import subprocess
import sys
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakwitness.analysis.errors import LogBookError
from soakwitness.analysis.logbook.entries import strike
from soakwitness.analysis.logbook.set_aside import set_aside, set_aside_entries
from soakwitness.analysis.waiting.waiting_acts import KINDS, AskedAbout, how_long, pieces_said
from soakwitness.firmware_bridge.runfolder.names import in_ranges, spelled_out
from tests.waiting_days import COLD_FIRST, PLAIN, TEMPER, TWICE, Workshop, stamp


def busy(shop: Workshop) -> None:
    """A shop in which much is open at the 30th hour."""
    shop.pieces("A-1..A-3", "B-1..B-2", "C-1..C-2", "D-1", "E-1")
    shop.verdict(shop.run(0, PLAIN, "A-1", "A-2", pull=[(1.5, [])]), "fail", ("short soak", 4))
    shop.run(3, TWICE, "B-1", "B-2", pull=[(1.5, [])])
    shop.did(6, "temper", "B-1", "B-2")
    shop.run(6, PLAIN, "D-1", pull=[(1.5, [])])
    shop.run(9, TEMPER, "D-1")
    shop.run(26, COLD_FIRST, "C-1", "C-2", pull=[(1.5, [])])
    shop.furnace = "kiln"
    shop.run(27, PLAIN, "E-1", cut_off=True)


def test_what_endangers_comes_first_and_the_rest_in_its_order(shop: Workshop) -> None:
    busy(shop)
    kinds = [act.kind for act in shop.waits(30, free_bytes=10).acts]
    assert kinds == sorted(kinds, key=KINDS.index)
    assert list(dict.fromkeys(kinds)) == [
        "recording", "temper", "cold treatment", "second temper", "decision", "hardness", "look", "cut-out test",
        "first runs", "disk",
    ]  # fmt: skip


def test_of_one_kind_the_longest_waits_first(shop: Workshop) -> None:
    shop.pieces("A-1", "B-1")
    shop.run(3, PLAIN, "B-1", pull=[(1.5, [])])
    shop.run(0, PLAIN, "A-1", pull=[(1.5, [])])
    assert [says[:3] for says in shop.says(8, "temper")] == ["A-1", "B-1"]


def test_every_act_has_a_command_a_page_and_someone_it_concerns(shop: Workshop) -> None:
    busy(shop)
    for act in shop.waits(30, free_bytes=10).acts:
        assert act.settle.startswith("soakwitness "), act
        assert act.page[0] in ("run", "runs", "piece", "furnace", "guide"), act
        assert act.concerns, act
        assert str(act.says).endswith("."), act


@pytest.mark.parametrize("subject", ["A-2", "a-2", "RUN", "SHED", None])
def test_anything_can_be_set_aside_and_taken_back(shop: Workshop, subject: str | None) -> None:
    shop.pieces("A-1", "A-2")
    run = shop.run(0, PLAIN, "A-2", pull=[(1.5, [])])
    about = run if subject == "RUN" else subject
    entry = set_aside(shop.book, "temper", about, why="sold as it is", stamp=stamp(3))
    assert shop.acts(4, "temper") == []
    assert shop.waits(4).set_aside == 1
    strike(shop.book, "set_aside", [entry], why="came back", stamp=stamp(5))
    assert len(shop.acts(6, "temper")) == 1


def test_what_is_set_aside_for_one_leaves_the_others_and_ends_with_its_day(shop: Workshop) -> None:
    shop.pieces("A-1", "A-2")
    shop.run(0, PLAIN, "A-1", "A-2", pull=[(1.5, [])])
    set_aside(shop.book, "temper", "A-1", why="tomorrow", until_day="2026-03-03", stamp=stamp(3))
    set_aside(shop.book, "hardness", "A-2", why="another kind", stamp=stamp(3))
    assert [says[:3] for says in shop.says(40, "temper")] == ["A-2"]  # 2026-03-03 23:00
    assert [says[:7] for says in shop.says(42, "temper")] == ["A-1 and"]
    with pytest.raises(LogBookError, match="--why"):
        set_aside(shop.book, "temper", "A-1", why=" ", stamp=stamp(3))
    assert [one.subject for one in set_aside_entries(shop.book)] == ["A-1", "A-2"]


def test_the_day_is_the_one_of_the_zone_asked() -> None:
    late = "2026-03-02T23:30:00Z"
    assert AskedAbout(late, "UTC").today == "2026-03-02"
    assert AskedAbout(late, "+01:00").today == "2026-03-03"


HOSTILE = ["{says}", "{0}", "a;rm -rf x", "\x1b[31mred", "<b>fat</b>", "Ünnamed '\"", "% s %d", "x" * 300]


@pytest.mark.parametrize("name", HOSTILE)
def test_odd_names_are_said_as_they_are(shop: Workshop, name: str) -> None:
    shop.furnace = name
    shop.run(0, PLAIN, pull=[(1.5, [name.replace(";", ":").replace(",", "")])])
    shop.run(4, PLAIN, cut_off=True)
    for act in shop.waits(30).acts:
        assert act.says.text("C")
        assert act.settle
    assert any(name in str(act.says) for act in shop.waits(30).acts)


def test_an_empty_log_book_waits_for_nothing(shop: Workshop) -> None:
    waiting = shop.waits(5, free_bytes=10**12)
    assert (waiting.acts, waiting.recording) == ((), ())


def test_nothing_is_written_by_asking(shop: Workshop) -> None:
    busy(shop)
    before = shop.book.connection.total_changes
    shop.waits(30)
    assert shop.book.connection.total_changes == before


def test_it_loads_nothing_heavy() -> None:
    code = (
        "import sys; from soakwitness.analysis.waiting import what_waits;"
        "print(sorted({'numpy', 'pandas', 'scipy', 'matplotlib', 'click'} & set(sys.modules)))"
    )
    answer = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert answer.stdout.strip() == "[]"


def test_it_loads_nothing_heavy_while_it_looks(shop: Workshop) -> None:
    busy(shop)
    shop.run(29, PLAIN, hours=0.9, goes_on=True)
    shop.book.connection.execute("PRAGMA wal_checkpoint")
    code = (
        "import sys; from soakwitness.analysis.waiting.what_waits import what_waits;"
        "from soakwitness.analysis.logbook.opening import open_logbook;"
        f"book = open_logbook({str(shop.folder)!r});"
        f"print(len(what_waits(book, now_utc={stamp(30).at_utc!r}).acts) > 5);"
        "print(sorted({'numpy', 'pandas', 'scipy', 'matplotlib', 'click'} & set(sys.modules)))"
    )
    answer = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert answer.stdout.split() == ["True", "[]"]


@pytest.mark.parametrize(("seconds", "words"), [
    (59, "59 s"), (5570, "1 h 33 min"), (3 * 3600 + 60, "3 h 1 min"), (71 * 3600, "71 h"), (72 * 3600, "3 days"),
    (100 * 3600, "4 days"),
])  # fmt: skip
def test_hours_up_to_three_days_then_days(seconds: float, words: str) -> None:
    assert how_long(seconds) == words


@pytest.mark.parametrize("names", [
    ["B-041", "B-042", "B-043"], ["B-9", "B-10", "B-11"], ["B-099", "B-100"], ["A", "B-1", "B-2", "B-4", "B-5", "B-6"],
    ["x1y", "x2y", "x3y"], ["7", "8", "9"], ["B-1", "B-01", "B-02"],
])  # fmt: skip
def test_ranges_say_what_they_were_drawn_from(names: list[str]) -> None:
    assert list(spelled_out(in_ranges(names))) == names


def test_many_pieces_are_few_words() -> None:
    assert pieces_said([f"B-{i:03d}" for i in range(41, 53)]) == "B-041 to B-052"
    assert pieces_said(["B-1", "C-1"]) == "B-1 and C-1"


def test_a_moment_before_everything_is_no_error(shop: Workshop) -> None:
    busy(shop)
    assert datetime.fromisoformat(shop.waits(-1000).now_utc) < datetime(2026, 2, 1, tzinfo=UTC)


@given(st.lists(st.tuples(st.sampled_from(["B-", "b", "C1-", ""]), st.integers(0, 30), st.integers(1, 3)), max_size=30))
def test_any_names_drawn_together_are_the_same_names(parts: list[tuple[str, int, int]]) -> None:
    names = list(dict.fromkeys(f"{stem}{number:0{width}d}" for stem, number, width in parts))
    assert list(spelled_out(in_ranges(names))) == names
    assert list(spelled_out(in_ranges(sorted(names)))) == sorted(names)
