"""The picture of an audit says what was found: its words are read out of the SVG."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime
from html import unescape
from pathlib import Path

import pytest
from click.testing import CliRunner

from soakwitness.cli.main import soakwitness
from tests import bad_batches
from tests.bad_batches import Shop, bad_batch

STORIES = (bad_batches.packet_lag, bad_batches.late_quench, bad_batches.part_of_rack)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, list[str]]]:
    folder = tmp_path_factory.mktemp("shop")
    book = Shop.opened(folder, datetime(2026, 1, 5, 7, 0, tzinfo=UTC))
    book.logged_tempers = False
    names = {
        make.__name__: book.enter(book.furnish(replace(bad_batch(300 + n, make=make), temper_logged=False), good=3))
        for n, make in enumerate(STORIES)
    }
    book.book.close()
    return folder, names


def words(shop: tuple[Path, dict[str, list[str]]], story: str, tmp_path: Path, *more: str) -> list[str]:
    folder, names = shop
    chart = tmp_path / "chart.svg"
    asked = ["audit", "--suspect", f"{names[story][0]}..{names[story][-1]}", "--chart", str(chart), *more]
    answer = CliRunner().invoke(soakwitness, [*asked, "--logbook", str(folder)], standalone_mode=False)
    assert answer.exception is None, answer.exception
    return [unescape(w) for w in re.findall(r"<text[^>]*>([^<]+)</text>", chart.read_text(encoding="utf-8"))]


def test_a_short_soak_is_shown_by_the_run_its_blade_and_the_soak_of_each_piece(
    shop: tuple[Path, dict[str, list[str]]], tmp_path: Path
) -> None:
    said = words(shop, "packet_lag", tmp_path)
    assert "HRC softer in the end than good ones. Most likely:" in " ".join(said)
    assert "blade, estimated (a model)" in said
    assert "good runs" in said
    assert "8 pulled" in said
    assert "soak of each piece, h:min" in said
    assert any(re.search(r"\d % of what is asked, \d\d\.\d HRC", w) for w in said)


def test_a_late_quench_is_shown_by_the_pieces_and_their_way_to_the_plates(
    shop: tuple[Path, dict[str, list[str]]], tmp_path: Path
) -> None:
    said = words(shop, "late_quench", tmp_path)
    assert "Most likely: late quench." in " ".join(said)
    assert {"as quenched", "in the end", "suspect", "good, of other runs", "the recipe allows 30 s"} <= set(said)
    assert said.count("from the furnace to the plates") == 2
    assert "good runs" not in said


def test_a_part_of_the_rack_is_shown_by_place(shop: tuple[Path, dict[str, list[str]]], tmp_path: Path) -> None:
    said = words(shop, "part_of_rack", tmp_path)
    assert {"place in the furnace", "slot 1", "slot 8", "good, of the same run", "what the recipe asks"} <= set(said)


def test_it_is_drawn_in_fahrenheit(shop: tuple[Path, dict[str, list[str]]], tmp_path: Path) -> None:
    said = words(shop, "packet_lag", tmp_path, "--unit", "F")
    assert "1904 °F for 25 min" in said  # 1040 x 1.8 + 32
    assert not [w for w in said if "°C" in w]


def test_nothing_known_is_not_drawn(shop: tuple[Path, dict[str, list[str]]], tmp_path: Path) -> None:
    folder, _ = shop
    CliRunner().invoke(soakwitness, ["piece", "add", "Q-1", "--logbook", str(folder)])
    chart = tmp_path / "none.svg"
    asked = ["audit", "--suspect", "Q-1", "--chart", str(chart), "--logbook", str(folder)]
    answer = CliRunner().invoke(soakwitness, asked, standalone_mode=False)
    assert answer.exception is None, answer.exception
    assert "there is nothing to draw" in answer.stderr
    assert not chart.exists()
