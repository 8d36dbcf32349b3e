"""Turns how a run stands into what the live page shows. Imports nothing heavy: it runs in the recording process."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from soakwitness.cli.words.furnace_words import is_temperature, shown_in
from soakwitness.cli.words.now_words import keeping_words
from soakwitness.firmware_bridge.common.units import Unit, from_celsius
from soakwitness.firmware_bridge.common.wording import countdown, moment

if TYPE_CHECKING:
    from soakwitness.analysis.recipes.recipe import Hold
    from soakwitness.firmware_bridge.recording.now import Now

MARKS_SHOWN = 3
GAP_PERIODS = 3.0  # longer without a reading is a gap, as in the verification


def page_state(
    now: Now,
    *,
    unit: Unit,
    lead: str | None = None,
    holds: Sequence[Hold] = (),
    side: dict[str, Any] | None = None,
) -> dict[str, Any]:
    """Put one moment of a run into the page's words (keys: see ``PageState``).

    ``lead`` is the sentence in large type, ``holds`` the recipe's holds, ``side`` how it stands with the pieces
    (``furnace_side``). A reading that is no longer coming is none: it is not shown again and again.
    """
    readings, age_s = [], now.reading_age_s
    old = now.link_lost is not None or (age_s is not None and age_s > GAP_PERIODS * now.furnace.every_s)
    for part in now.furnace.parts:
        if is_temperature(part):
            value = now.values.get(part.name)
            shown = None if value is None or old else round(shown_in(part, value, now.furnace, unit), 1)
            readings.append({"name": part.name, "role": getattr(part, "role", "setpoint"), "temp": shown})
    return {
        "run": now.run.name if now.run else None,
        "t_s": round(now.t_s, 1),
        "unit": unit,
        "sentence": lead or f"{countdown(now.t_s)} into the run",
        "detail": _last_marks(now),
        "readings": readings,
        "record": keeping_words(now) if now.run is not None else "No run is open.",
        "read_ms": None if age_s is None else round((now.utc_s - age_s) * 1000),
        "sent_ms": round(now.utc_s * 1000),
        "recipe": [_hold(hold, unit) for hold in holds],
        "at_the_furnace": side,
        "alarm": "; ".join(now.alarms.values()) or None,
    }


def _hold(hold: Hold, unit: Unit) -> dict[str, float]:
    edges = {"target": hold.target_c, "lower": hold.lower_c, "upper": hold.upper_c}
    return {name: round(from_celsius(temp_c, unit), 1) for name, temp_c in edges.items()}


def _last_marks(now: Now) -> str:
    """Return the last marks, the newest first."""
    marks = sorted((m for m in now.marks if not m.struck), key=lambda m: m.t_s)[-MARKS_SHOWN:]
    words = [f"{' '.join((m.act, *m.pieces))} at {moment(m.t_s)}" for m in reversed(marks)]
    return f"Marked: {', '.join(words)}." if words else ""
