"""A run of the log book in a line of a list, and the same for programs."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.runs import RunEntry
    from soakwitness.firmware_bridge.runfolder.listing import Listed


def run_line(entry: Listed, kept: RunEntry | None, struck: str | None, doubt: str | None) -> str:
    """A run in one line, with the verdict that was kept of it and why it counts nowhere or may be no heating."""
    out = f"  struck out: {struck}" if struck is not None else "" if doubt is None else f"  doubtful: {doubt}"
    if entry.header is None:
        return f"{entry.path.name}  unreadable: {entry.says}{out}"
    from soakwitness.firmware_bridge.common.wording import counted, duration

    length = "-" if entry.length_s is None else duration(entry.length_s)
    state = entry.state if entry.intact is not False else f"{entry.state}, {entry.says}"
    state += ", intact" if entry.intact and entry.state == "sealed" else ""
    recipe = f"  {entry.header.recipe_name}" if entry.header.recipe_name else ""
    verdict = "" if kept is None else _verdict_words(kept)
    recipe += f": {verdict}" if recipe and verdict else f"  {verdict}" if verdict else ""
    start = _local(entry.header.started_utc, entry.header.zone)
    return f"{entry.path.name}  {start}  {length:>10}  {counted(entry.rows or 0, 'row'):>13}  {state}{recipe}{out}"


def _verdict_words(kept: RunEntry) -> str:
    """A verdict; one by earlier rules says so."""
    from soakwitness.analysis.rules import RULES_VERSION

    return kept.verdict or "" if kept.rules == RULES_VERSION else f"{kept.verdict}, by rules {kept.rules}"


def _local(utc: str, zone: str | None) -> str:
    """Start in the run's own zone."""
    from soakwitness.firmware_bridge.common.zones import zone_on_record

    return datetime.fromisoformat(utc).astimezone(zone_on_record(zone)).strftime("%Y-%m-%d %H:%M %Z")


def run_as_json(entry: Listed, kept: RunEntry | None, struck: str | None, doubt: str | None) -> dict[str, Any]:
    """The same for programs."""
    header = entry.header
    return {
        "run": entry.path.name,
        "path": str(entry.path),
        "furnace": header.furnace_name if header else None,
        "started_utc": header.started_utc if header else None,
        "zone": header.zone if header else None,
        "recipe": header.recipe_name if header else None,
        "verdict": None if kept is None else kept.verdict,
        "rules": None if kept is None else kept.rules,
        "operator": header.operator if header else None,
        "origin": header.origin if header else None,
        "length_s": entry.length_s,
        "rows": entry.rows,
        "state": entry.state,
        "sealed": entry.state == "sealed",
        "intact": entry.intact,
        "says": entry.says,
        "struck": struck,
        "doubtful": doubt,
    }
