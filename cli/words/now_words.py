"""How a run stands, as one sentence that leads with what matters now."""

from __future__ import annotations

from soakwitness.cli.words.furnace_words import shown_in, unit_word
from soakwitness.cli.words.mark_words import expected_words
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import countdown, counted, duration, number
from soakwitness.firmware_bridge.furnace.sensors_and_links import Contact
from soakwitness.firmware_bridge.recording.now import Now

GAP_PERIODS = 3.0  # longer without a reading is a gap, as in the verification


def not_read_s(now: Now) -> float | None:
    """How long nothing was read where that is a gap or the link is lost [s]; None while readings come, and before."""
    age_s = now.reading_age_s
    lasts = age_s is not None and (now.link_lost is not None or age_s > GAP_PERIODS * now.furnace.every_s)
    return age_s if lasts else None


def leading_words(now: Now, lead: str | None) -> str:
    """What leads, else where the run is; what was true of readings that no longer come is not said as if it were so."""
    if not lead:
        return f"{countdown(now.t_s)} into the run"
    old_s = not_read_s(now)
    return lead if old_s is None else f"{lead}, when last read {duration(round(old_s))} ago"


def now_sentence(now: Now, *, unit: Unit | None = None, lead: str | None = None) -> str:
    """The living sentence: what leads (else where the run is), whose turn it is, each sensor, state of the record."""
    follows = [f"Next: {expected_words(now.expected)}"] if now.expected.names else []
    parts = [leading_words(now, lead), *follows, readings_words(now, unit or now.furnace.unit), record_words(now)]
    return ". ".join(parts) + "."


def readings_words(now: Now, unit: Unit) -> str:
    """Each sensor and signal with its last reading; contacts only while they are acted."""
    if now.reading_age_s is None:
        return "no reading yet"
    if not_read_s(now) is not None:
        return "no reading"
    parts = []
    for part in now.furnace.parts:
        value = now.values.get(part.name)
        if isinstance(part, Contact):
            parts += [f"{part.name} acted"] if value else []
        elif value is None:
            parts.append(f"{part.name} {now.faults.get(part.name, 'no reading')}")
        else:
            shown = shown_in(part, value, now.furnace, unit)
            parts.append(f"{part.name} {number(shown)}{unit_word(part, unit)}")
    return ", ".join(parts)


def keeping_words(now: Now) -> str:
    """State of the record alone, as a sentence: for a page that says itself how old the last reading is."""
    kept = f"{counted(now.rows, 'row')} written."
    if now.trouble is not None:
        kept = f"NOT BEING WRITTEN ({now.trouble}): only in memory: {counted(now.held_rows, 'row')}."
    return kept if now.link_lost is None else f"No link: {now.link_lost.rstrip('.')}. {kept}"


def record_words(now: Now) -> str:
    """State of link and record."""
    parts = []
    if now.trouble is not None:
        parts.append(f"NOT BEING WRITTEN ({now.trouble}), {counted(now.held_rows, 'row')} in memory")
    else:
        missed = f" ({now.missed} missed)" if now.missed else ""
        parts.append(f"{counted(now.rows, 'row')}{missed}")
    if now.lost_answers:
        parts.append(f"{counted(now.lost_answers, 'answer')} lost on the way")
    if now.link_lost is not None:
        lost = "" if now.reading_age_s is None else f" for {countdown(now.reading_age_s)}"
        parts.append(f"no link{lost}: {now.link_lost.rstrip('.')}")
    elif now.reading_age_s is not None:
        parts.append(f"last reading {duration(round(now.reading_age_s, 1))} ago")
    return ", ".join(parts)
