"""Hardness tests in words: one test, and what is newest of a piece with its spread."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from soakwitness.firmware_bridge.common.wording import counted

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.hardness import HardnessEntry


def one_test(entry: HardnessEntry) -> str:
    """One test: ``60.1 HRC (59.9 to 60.4, 3) after temper, edge``."""
    test = entry.test
    spread = f" ({min(test.readings):g} to {max(test.readings):g}, {len(test.readings)})"
    spot = f", {entry.spot}" if entry.spot else ""
    ground = f", {entry.ground_off_mm:g} mm ground off" if entry.ground_off_mm else ""
    return f"{test.mean:.1f} {test.scale}{spread} {entry.stage}{spot}{ground}"


def newest(entries: Sequence[HardnessEntry]) -> list[HardnessEntry]:
    """All tests of the stage that was tested last, on one scale, in the order in which they were made."""
    if not entries:
        return []
    last = entries[-1]
    return [e for e in entries if (e.stage, e.test.scale) == (last.stage, last.test.scale)]


def hardness_now(entries: Sequence[HardnessEntry]) -> str:
    """What a piece has now: ``60.2 HRC after temper (59.4 to 60.9, 6 readings)``; of several tests their mean."""
    tests = newest(entries)
    if not tests:
        return "not on record"
    from soakwitness.analysis.metallurgy.hardness_readings import spread_of

    found = spread_of([entry.test for entry in tests])
    scale = tests[-1].test.scale
    low, high = one_reading(found.low, scale), one_reading(found.high, scale)
    spread = f"{low} to {high}, {found.count} readings" if found.count > 1 else "1 reading"
    return f"{one_reading(found.mean, scale)} {scale} {tests[-1].stage} ({spread})"


def one_reading(value: float, scale: str) -> str:
    """A reading as testers show it: tenths, of Vickers whole numbers."""
    return f"{value:.0f}" if scale == "HV" else f"{value:.1f}"


def spread_words(entries: Sequence[HardnessEntry]) -> str:
    """How far apart the newest readings lie over the blade; empty where there is one test or none."""
    from soakwitness.analysis.metallurgy.hardness_readings import spread_of

    last = newest(entries)
    if len(last) < 2:
        return ""
    over = spread_of([entry.test for entry in last])
    places = len({(entry.spot, entry.along_pct, entry.across_pct) for entry in last})
    scale, stage = last[-1].test.scale, last[-1].stage
    low, high, apart = (one_reading(value, scale) for value in (over.low, over.high, over.high - over.low))
    return f"Over the blade, {stage}: {low} to {high} {scale} at {counted(places, 'place')}, {apart} apart."
