"""One maker's week, played by commands only; three months later a blade comes back soft."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result

from soakwitness.cli.main import soakwitness

MONDAY = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)
RECIPE = """
name = "Paring blades, harden"
unit = "C"
steel = "S44004"
load = "cold"
order = ["harden", "cold treatment", "temper", "temper"]
[[step]]
ramp = "full power"
to = 780
[[step]]
hold_minutes = 10
tolerance = 8
judged = false
[[step]]
ramp = 400
to = 1040
[[step]]
hold_minutes = 25
tolerance = 6
max_overshoot = 6
[packet]
thickness_mm = 2.0
foil = true
[quench]
medium = "plates"
within_s = 30
[hardness]
as_quenched = [59, 64]
final = [57, 61]
"""
FIRST_IN_BAND_S, FIRST_PULL_S, SECOND_LOAD_S, SECOND_PULL_S = 5400, 7300, 8400, 11400
GAP_S = 75  # from one pull to the next


class Shop:
    """The shop's terminal: every step is a command."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.book = folder / "book"

    def says(self, *words: object, status: int = 0) -> Result:
        """Give a command and see that it ends as it should."""
        env = {"SOAKWITNESS_LOGBOOK": str(self.book), "SOAKWITNESS_USER": "Ana"}
        answer = CliRunner().invoke(soakwitness, [str(w) for w in words], env=env, standalone_mode=False)
        assert answer.exception is None, f"{words}: {answer.exception}\n{answer.output}"
        assert (answer.return_value or 0) == status, f"{words}: {answer.return_value}\n{answer.output}"
        return answer

    def asks(self, *words: object, status: int = 0) -> Any:
        """Give a command and read its answer as JSON."""
        return json.loads(self.says(*words, "--json", status=status).stdout)


def at(hours: float) -> str:
    return (MONDAY + timedelta(hours=hours)).isoformat()


def memory_log(path: Path, *, soft: bool = False) -> Path:
    """What the shop's memory logger wrote: two charges in one heating, the door open for each blade."""
    corners = [(0, 20), (300, 20), (2400, 779), (3060, 780), (FIRST_IN_BAND_S, 1036), (FIRST_IN_BAND_S + 120, 1041)]
    corners += [(SECOND_PULL_S + 6 * GAP_S, 1040), (16000, 640), (24000, 300)]
    t = np.arange(0, 24000, 5)
    temp = np.interp(t, *zip(*corners, strict=True))
    doors = [FIRST_PULL_S + GAP_S * i for i in range(6)] + [SECOND_PULL_S + GAP_S * i for i in range(6)]
    for opened, deep, long in [(d, 22.0, 25.0) for d in doors] + [(SECOND_LOAD_S - 10, 75.0, 260.0)]:
        x = t - opened
        temp = temp - np.where(x > 0, deep * np.minimum(x / 10.0, 1.0) * np.exp(-np.maximum(x - 10.0, 0) / long), 0.0)
    rng = np.random.default_rng(4)
    temp = np.round(temp + rng.normal(0, 0.15, t.size), 1)
    lines = [f"{(MONDAY + timedelta(seconds=int(s))).isoformat()},{v:.1f}" for s, v in zip(t, temp, strict=True)]
    path.write_text("Time,Temp1\n" + "\n".join(lines) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    return Shop(tmp_path)


def test_a_makers_week_and_what_came_of_it(shop: Shop, tmp_path: Path) -> None:
    recipe = tmp_path / "harden.toml"
    recipe.write_text(RECIPE, encoding="utf-8")
    shop.says("recipe", "check", recipe)

    # Monday: a lot of steel, twelve blades for two customers; both charges are written down before the furnace is cold
    shop.says(
        "piece", "add", "H-01..H-07", "--steel", "S44004", "--lot", "7733", "--thickness-mm", "2",
        "--customer", "Huber", "--order", "2026/17", "--batch", "March",
    )  # fmt: skip
    shop.says(
        "piece", "add", "M-01..M-05", "--steel", "S44004", "--lot", "7733", "--thickness-mm", "2", "--customer", "Maier"
    )
    shop.says("batch", "add", "March", "M-01..M-05")
    log = memory_log(tmp_path / "logger.csv")
    shop.says(
        "import", log, "--time", "Time", "--sensor", "recording=Temp1", "--unit", "C", "--furnace", "shed",
        "--thermocouple", "K", "--tolerance-class", "2",
    )  # fmt: skip
    shop.says("piece", "charge", "last", "H-01..H-06", "--charge", "1", "--foil", "--place", "front")
    shop.says("piece", "charge", "last", "H-07", "M-01..M-05", "--charge", "2", "--foil", "--place", "back")
    first, second = [f"H-0{i}" for i in range(1, 7)], ["H-07", *(f"M-0{i}" for i in range(1, 6))]
    shop.says("mark", "load", *first, "--run", "last", "--at", "+0:01:00")
    shop.says("mark", "load", *second, "--run", "last", "--at", clock(SECOND_LOAD_S))
    for names, begin in ((first, FIRST_PULL_S), (second, SECOND_PULL_S)):
        for number, name in enumerate(names):
            shop.says("mark", "pull", name, "--run", "last", "--at", clock(begin + GAP_S * number))
            shop.says("mark", "plates", name, "--run", "last", "--at", clock(begin + GAP_S * number + 9))

    verdict = shop.asks("verify", "last", "--recipe", recipe, "--exit-zero")
    hold = verdict["steps"][3]
    assert {p["piece"] for p in hold["pieces"]} == {*first, *second}
    assert not [f for f in verdict["findings"] if f["severity"] == "fail"], verdict["findings"]
    # the second charge had its 25 minutes from its own load mark, not from the furnace's
    soak = {p["piece"]: p["soak_s"]["best"] for p in hold["pieces"]}
    assert all(soak[name] <= SECOND_PULL_S + 5 * GAP_S - SECOND_LOAD_S for name in second)
    assert min(soak.values()) >= 1500

    # Monday noon: hardness as quenched; into the cold overnight; Tuesday two tempers in the kitchen oven, no logger
    everyone = ["H-01..H-07", "M-01..M-05"]
    for number, name in enumerate([*first, *second]):
        reads = [60.8 + 0.1 * (number % 3), 61.0, 60.9]
        shop.says("piece", "hardness", name, *reads, "--after", "quench", "--at", at(4.5), *BLOCK)
    shop.says(
        "piece", "treatment", "cold treatment", *everyone, "--start", at(5), "--end", at(22), "--lowest", "-78",
    )  # fmt: skip
    for start in (24.0, 28.0):
        shop.says(
            "piece", "treatment", "temper", *everyone, "--start", at(start), "--end", at(start + 2), "--shown", "200"
        )
    for number, name in enumerate([*first, *second]):
        reads = [59.2 + 0.1 * (number % 3), 59.4, 59.3]
        shop.says("piece", "hardness", name, *reads, "--after", "second temper", "--at", at(31), *BLOCK)

    life = shop.asks("piece", "history", "H-03")
    assert [step["kind"] for step in life["steps"]] == [
        "harden", "hardness", "cold treatment", "temper", "temper", "hardness",
    ]  # fmt: skip
    assert life["steps"][0]["verdict"] == verdict["verdict"]
    assert life["findings"] == []  # in the order the recipe states, nothing late, nothing missing
    text = shop.says("piece", "history", "H-03").stdout
    assert "Huber" in text
    assert "59." in text

    # the customer's sheet shows no other customer's pieces
    sheet = tmp_path / "huber.html"
    shop.says("sheet", "last", "--recipe", recipe, "--customer", "Huber", "--out", sheet)
    page = sheet.read_text(encoding="utf-8")
    assert "H-03" in page
    assert "M-01" not in page
    assert "Maier" not in page

    # nothing is wrong, and nothing is said to be
    quiet = shop.asks("audit", "--suspect", "March")
    assert [c["cause"] for c in quiet["causes"] if c["claimed"]] == []
    assert quiet["says"] == "The pieces are as they should be."
    shop.says("disposition", "last", "--decide", "no defect", "--why", "hardness inside the limits")
    assert "The log book is whole" in shop.says("logbook", "check").stdout

    _three_months_later(shop, tmp_path, recipe)
    _a_new_thermocouple(shop, tmp_path, recipe)


def _three_months_later(shop: Shop, tmp_path: Path, recipe: Path) -> None:
    """H-05 comes back: soft at the edge, the rest as it was. The record clears furnace, steel and customer."""
    found = shop.asks("piece", "find", "huber", "H-05")
    assert [p["id"] for p in found["pieces"]] == ["H-05"]
    june = (MONDAY + timedelta(days=92)).isoformat()
    shop.says(
        "piece", "hardness", "H-05", 54.8, 55.1, 54.9, "--after", "finish", "--spot", "edge", "--at", june, *BLOCK
    )
    shop.says(
        "piece", "hardness", "H-05", 59.0, 59.3, 59.1, "--after", "finish", "--spot", "spine", "--at", june, *BLOCK
    )
    audit = shop.asks("audit", "--suspect", "H-05")
    assert audit["causes"][0]["cause"] == "overheated in finish grinding"
    assert [c["cause"] for c in audit["causes"] if c["claimed"]] == ["overheated in finish grinding"]
    # H-06 comes back too, soft all over: nothing on record tells why, and nothing is accused
    shop.says("piece", "hardness", "H-06", 54.8, 55.1, 54.9, "--after", "finish", "--at", june, *BLOCK)
    audit = shop.asks("audit", "--suspect", "H-06", "--chart", tmp_path / "h06.png")
    assert audit["causes"][0]["cause"] == "the record shows nothing"
    assert not any(c["claimed"] for c in audit["causes"])
    assert (tmp_path / "h06.png").stat().st_size > 10_000


def _a_new_thermocouple(shop: Shop, tmp_path: Path, recipe: Path) -> None:
    """A new thermocouple is fitted and calibrated; old runs keep their own life, the next one uses the correction."""
    day = (MONDAY + timedelta(days=100)).isoformat()
    shop.says("sensor", "fitted", "recording", "--furnace", "shed", "--serial", "K-2", "--type", "K", "--at", day)
    readings = tmp_path / "readings.csv"
    rows = [(700, 703), (700, 703.2), (1000, 1004), (1000, 1004.2), (1050, 1054.1), (1050, 1054)]
    readings.write_text("reference,sensor\n" + "\n".join(f"{a},{b}" for a, b in rows) + "\n", encoding="utf-8")
    shop.says(
        "calibrate", "--readings", readings, "--furnace", "shed", "--sensor", "recording",
        "--reference-uncertainty", "1.0", "--date", (MONDAY + timedelta(days=101)).date(), "--by", "Ana",
    )  # fmt: skip
    assert "K-2" in shop.says("sensor", "list").stdout
    old = shop.asks("verify", "last", "--exit-zero")
    assert old["sensor_error"]["source"] == "tolerance class"
    log = memory_log(tmp_path / "june.csv")
    moved = log.read_text().replace("2026-03-02", "2026-06-15")
    log.write_text(moved)
    shop.says("import", log, "--time", "Time", "--sensor", "recording=Temp1", "--unit", "C", "--furnace", "shed")
    new = shop.asks("verify", "last", "--recipe", recipe, "--exit-zero")
    assert new["sensor_error"]["source"] == "calibration"
    assert "2 runs" in shop.says("condition", "shed").stdout


BLOCK = ("--block", "60.3", "--block-reading", "60.4", "--block-reading", "60.2")


def clock(seconds: float) -> str:
    """A moment of the run as a person types it."""
    whole = int(seconds)
    return f"+{whole // 3600}:{whole % 3600 // 60:02d}:{whole % 60:02d}"
