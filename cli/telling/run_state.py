"""What the book is told of a run. Imports nothing heavy: it runs in the recording process."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from soakwitness.cli.words.furnace_words import is_temperature, shown_in
from soakwitness.cli.words.now_words import keeping_words, leading_words, not_read_s
from soakwitness.firmware_bridge.common.units import Unit, from_celsius
from soakwitness.firmware_bridge.common.wording import moment

if TYPE_CHECKING:
    from soakwitness.analysis.recipes.recipe import Hold
    from soakwitness.firmware_bridge.recording.now import Now

MARKS_SHOWN = 3
SAID_ANYWAY = ("soak complete", "soak overdue")  # by the sentence in large type


def run_state(
    now: Now,
    *,
    unit: Unit,
    lead: str | None = None,
    recipe: str | None = None,
    holds: Sequence[Hold] = (),
    hold: Hold | None = None,
    side: dict[str, Any] | None = None,
) -> dict[str, Any]:
    """Put one moment of a run into words and numbers for the book.

    ``lead`` is the sentence in large type, ``recipe`` the recipe's name and ``holds`` its holds, ``hold`` the one at
    hand, ``side`` how it stands with the pieces (``bench_state``). A reading that is no longer coming is none: it is
    not shown again and again.

    Keys: ``furnace`` and ``recipe`` names; ``every_s`` [s] between readings; ``run`` the name of its folder, null where
    none is open; ``t_s`` run seconds; ``utc_ms`` the moment of that [ms since 1970]; ``unit`` ``C`` or ``F``;
    ``sentence``, ``detail``, ``record`` words; ``readings`` a list of ``{"name", "role", "temp"}`` in that unit, null
    where nothing was had; ``reading_age_s`` age of the last one, null before the first; ``holds`` a list of
    ``{"target", "lower", "upper"}``, ``hold`` the one at hand or null; ``at_the_furnace`` as given; ``alarms``
    sentences by their kinds, ``alarm`` those that the sentence in large type does not say itself, or null.
    """
    readings, age_s = [], now.reading_age_s
    old = now.link_lost is not None or not_read_s(now) is not None
    for part in now.furnace.parts:
        if is_temperature(part):
            value = now.values.get(part.name)
            shown = None if value is None or old else round(shown_in(part, value, now.furnace, unit), 1)
            readings.append({"name": part.name, "role": getattr(part, "role", "setpoint"), "temp": shown})
    return {
        "furnace": now.furnace.name,
        "recipe": recipe,
        "every_s": now.furnace.every_s,
        "run": now.run.name if now.run else None,
        "t_s": round(now.t_s, 1),
        "utc_ms": round(now.utc_s * 1000),
        "unit": unit,
        "sentence": leading_words(now, lead),
        "detail": _last_marks(now),
        "readings": readings,
        "record": keeping_words(now) if now.run is not None else "No run is open.",
        "reading_age_s": None if age_s is None else round(age_s, 1),
        "holds": [_hold(hold, unit) for hold in holds],
        "hold": None if hold is None else _hold(hold, unit),
        "at_the_furnace": side,
        "alarms": dict(now.alarms),
        "alarm": "; ".join(says for kind, says in now.alarms.items() if kind not in SAID_ANYWAY) or None,
    }


def ended_state(furnace: str, run: str) -> dict[str, Any]:
    """What the book is told when a run is over and sealed, or its recorder leaves."""
    return {"furnace": furnace, "run": run, "ended": True}


def _hold(hold: Hold, unit: Unit) -> dict[str, float]:
    edges = {"target": hold.target_c, "lower": hold.lower_c, "upper": hold.upper_c}
    return {name: round(from_celsius(temp_c, unit), 1) for name, temp_c in edges.items()}


def _last_marks(now: Now) -> str:
    """Return the last marks, the newest first."""
    marks = sorted((m for m in now.marks if not m.struck), key=lambda m: m.t_s)[-MARKS_SHOWN:]
    words = [f"{' '.join((m.act, *m.pieces))} at {moment(m.t_s)}" for m in reversed(marks)]
    return f"Marked: {', '.join(words)}." if words else ""
