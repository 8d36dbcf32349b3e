"""``piece inspect``, ``piece charge --kg``, ``piece treatment --not-done`` and ``cutout`` as a person meets them."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.test_piece_and_logbook import Terminal
from tests.run_folders import sealed_run


@pytest.fixture
def shop(tmp_path: Path) -> Terminal:
    terminal = Terminal(tmp_path / "book")
    sealed_run(tmp_path / "book", 30)
    terminal.says("piece", "add", "C-1..C-3", "--steel", "S44004", "--lot", "7733", "--thickness-mm", "3")
    return terminal


def test_looks_stand_in_the_history_and_are_struck(shop: Terminal) -> None:
    said = shop.says("piece", "inspect", "warp", "C-1", "--mm", 0.8, "--place", "tip", "--after", "quench").output
    assert "C-1: warp, 0.8 mm, tip, after quench, entry 1." in said
    shop.says("piece", "inspect", "crack", "C-1", "--mm", 0)
    shop.says("piece", "inspect", "file test", "C-1..C-2", "--result", "skates")
    life = shop.says("piece", "history", "C-1").output
    assert "0.8 mm, tip, after quench" in life
    assert "none found" in life
    assert "skates" in life
    shop.says("piece", "strike", "inspection", 1, "--why", "was C-2")
    assert "0.8 mm" not in shop.says("piece", "history", "C-1").output
    assert "was C-2" in shop.says("piece", "history", "C-1", "--struck").output
    assert [s["kind"] for s in shop.asks("piece", "history", "C-2")["steps"]] == ["file test"]


def test_a_slip_of_the_point_is_asked_about_and_may_stand(shop: Terminal) -> None:
    hardness = ("piece", "hardness", "C-1", 5.62, 56.4, 56.1, "--after", "temper")
    assert "5.62 HRC is outside the range the scale is meant for (20 to 70). Is 56.2 meant?" in shop.is_refused(
        *hardness
    )
    assert "Is 56.2 meant?" in shop.is_refused("piece", "hardness", "C-1", 562, 56.4, 56.1, "--after", "temper")
    assert "Nothing is on record yet" in shop.says("piece", "history", "C-1").output
    assert "C-1: 39.4 HRC" in shop.says(*hardness, "--as-read").output  # (5.62 + 56.4 + 56.1) / 3
    shop.says("piece", "hardness", "C-1", 18.0, 18.2, 18.1, "--before", "quench", "--as-read")


def test_an_oven_and_its_second_thermometer_in_fahrenheit(shop: Terminal) -> None:
    shop.says(
        "piece", "treatment", "temper", "C-1", "--oven", "kitchen oven", "--shown", 392, "--second", 410, "--unit", "F"
    )
    # (392 - 32) / 1.8 = 200, (410 - 32) / 1.8 = 210
    assert "kitchen oven, shown 200 °C, a second thermometer 210 °C" in shop.says("piece", "history", "C-1").output
    assert "second thermometer 410 °F" in shop.says("piece", "history", "C-1", "--unit", "F").output
    assert (
        "C-2: cold treatment not done" in shop.says("piece", "treatment", "cold treatment", "C-2", "--not-done").output
    )
    assert "Warning: The cold treatment was not done." in shop.says("piece", "history", "C-2").output
    refused = shop.is_refused("piece", "treatment", "temper", "C-2", "--not-done", "--shown", 200)
    assert "leave them out" in refused


def test_the_mass_of_a_run_with_its_pieces_or_without(shop: Terminal) -> None:
    said = shop.says("piece", "charge", "last", "C-1", "--kg", 3.2, "--fixtures", "rack", "--fixtures-kg", 1.1).output
    assert "C-1: charge 1 of run" in said
    assert "3.2 kg, with fixtures 1.1 kg (rack), entry 1." in said
    assert "strike load 1" in shop.is_refused("piece", "charge", "last", "C-2", "--kg", 3.0)
    assert "C-2" not in shop.says("piece", "history", "C-2").output.split("\n", 1)[1]  # nothing of it was entered
    shop.says("piece", "strike", "load", 1, "--why", "weighed again")
    assert "3 kg, entry 2" in shop.says("piece", "charge", "last", "--kg", 3.0).output
    assert "Name the pieces, or say" in shop.is_refused("piece", "charge", "last")
    assert "are of pieces" in shop.is_refused("piece", "charge", "last", "--kg", 3, "--place", "left")
    assert "leave out one of the two" in shop.is_refused("piece", "charge", "last", "C-2", "--empty")


def test_coupons_are_pieces_marked_as_such(shop: Terminal) -> None:
    shop.says("piece", "add", "K-1", "--coupon", "--lot", "7733")
    assert shop.says("piece", "history", "K-1").output.startswith("K-1: coupon, lot 7733")
    shop.says("piece", "change", "K-1", "--blade", "--why", "it is one")
    assert shop.says("piece", "history", "K-1").output.startswith("K-1: lot 7733")


def test_the_cut_out_is_tested_shown_and_struck(shop: Terminal) -> None:
    (name,) = {run["furnace"] for run in shop.asks("runs")}
    assert "cut at 908 °C (+8 °C, as it should)" in shop.says("cutout", name, "--set", 900, "--tripped-at", 908).output
    assert "it did NOT cut" in shop.says("cutout", name, "--set", 900, "--no-trip-up-to", 960).output
    assert "not hot enough to tell" in shop.says("cutout", name, "--set", 900, "--no-trip-up-to", 905).output
    # 1922 °F = 1050 °C, 1652 °F = 900 °C: 150 °C early
    early = shop.says("cutout", name, "--set", 1922, "--tripped-at", 1652, "--in-run", "last", "--unit", "F").output
    assert "by itself in" in early
    assert "1652 °F (-270 °F, early)" in early
    assert [t["tripped_c"] for t in shop.asks("cutout", name)["tests"]][0] == 900.0
    shop.says("cutout", name, "--strike", 1, "--why", "other furnace")
    assert "+8 °C" not in shop.says("cutout", name).output
    assert "one of the two" in shop.is_refused("cutout", name, "--set", 900)
    assert "--set" in shop.is_refused("cutout", name, "--tripped-at", 900)
    assert "Did you mean" in shop.is_refused("cutout", name[:-1], "--set", 900, "--tripped-at", 900)
