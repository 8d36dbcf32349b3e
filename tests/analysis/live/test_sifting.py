"""Readings that are held back until the next one count among those beside a stretch of one number."""

from __future__ import annotations

from soakwitness.analysis.live.kept_readings import KeptReadings
from soakwitness.analysis.live.sifting import Sifter


def sifted(temps_c: list[float]) -> tuple[list[float], list[tuple[float, float]]]:
    """What is believed of readings a second apart, and what was dropped."""
    kept = KeptReadings(every_s=1.0, resolution_c=0.1)
    sifter = Sifter("control", kept, every_s=1.0)
    rows, dropped = [], []
    for t_s, temp_c in enumerate(temps_c):
        found = sifter.take(float(t_s), temp_c)
        dropped += found.dropped
        rows += [row[1] for row in found.rows]
        for row in found.rows:
            kept.add(*row)
    return rows, dropped


def test_a_level_without_noise_is_not_stuck_where_a_door_takes_15_k_in_the_first_second() -> None:
    """15 K, then 13 K: slower than 10 K/s over the larger of the steps and no farther than 20 K in any."""
    climb = [round(20 + 0.5 * k, 1) for k in range(1531)]
    temps_c = [*climb, *[785.7] * 1200, 770.7, 757.9, 745.3, 733.5]
    rows, dropped = sifted(temps_c)
    assert dropped == []
    assert rows == temps_c[: len(rows)]
    assert len(rows) >= len(temps_c) - 1  # the last may wait for the next


def test_a_level_without_noise_is_stuck_where_the_next_reading_lies_60_k_below() -> None:
    climb = [round(20 + 0.5 * k, 1) for k in range(1531)]
    _, dropped = sifted([*climb, *[785.7] * 1200, 725.7, 722.0, 718.0, 714.0, 710.0, *[700.0 - k for k in range(700)]])
    assert len(dropped) == 1


def test_a_level_is_not_stuck_where_the_reading_after_it_comes_back() -> None:
    climb = [round(20 + 0.5 * k, 1) for k in range(1531)]
    _, dropped = sifted([*climb, *[785.7] * 1200, 700.0, 785.6, 785.5, 785.4])
    assert dropped == []
