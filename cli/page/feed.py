"""Turns how a run stands into what the live page shows. Imports nothing heavy: it runs in the recording process."""

from __future__ import annotations

import time
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Literal

from soakwitness.cli.words.now_words import clock_words, record_words

if TYPE_CHECKING:
    from soakwitness.analysis.recipes.model import Hold
    from soakwitness.firmware_bridge.recording.now import Now

Unit = Literal["C", "F"]


def page_state(now: Now, *, unit: Unit, lead: str | None = None, holds: Sequence[Hold] = ()) -> dict[str, Any]:
    """Put one moment of a run into the page's words (keys: see ``PageState``).

    ``lead`` is the sentence in large type, ``holds`` the recipe's holds.
    """
    wall_ms = time.time() * 1000.0
    age = now.reading_age_s
    return {
        "run": now.run.name if now.run is not None else "",
        "t_s": round(now.t_s, 1),
        "unit": unit,
        "sentence": lead or f"{now.furnace.name}: {clock_words(now.t_s)} into the run",
        "detail": _last_marks(now),
        "readings": [_reading(now, sensor.name, sensor.role, unit) for sensor in now.furnace.sensors],
        "record": record_words(now).capitalize() + ".",
        "read_ms": None if age is None else round(wall_ms - age * 1000.0),
        "sent_ms": round(wall_ms),
        "recipe": [_hold(hold, unit) for hold in holds],
        "alarm": "; ".join(now.alarms.values()) or None,
    }


def _reading(now: Now, name: str, role: str, unit: Unit) -> dict[str, Any]:
    temp_c = now.temp_c(name)
    return {"name": name, "role": role, "temp": None if temp_c is None else round(_shown(temp_c, unit), 1)}


def _hold(hold: Hold, unit: Unit) -> dict[str, Any]:
    edges = {"target": hold.target_c, "lower": hold.lower_c, "upper": hold.upper_c}
    return {name: _shown(temp_c, unit) for name, temp_c in edges.items()} | {"required_s": hold.required_s}


def _shown(temp_c: float, unit: Unit) -> float:
    return temp_c * 1.8 + 32.0 if unit == "F" else temp_c


def _last_marks(now: Now) -> str:
    """Return the last three marks, the newest first."""
    marks = sorted((m for m in now.marks if not m.struck), key=lambda m: m.t_s)[-3:]
    words = [f"{m.act} {' '.join(m.pieces)}".strip() + f" at {clock_words(m.t_s)}" for m in reversed(marks)]
    return f"Marked: {', '.join(words)}." if words else ""
