"""What a watch decided, without the runs that it calls doubtful to their end: those are recorded, and counted apart."""

from __future__ import annotations

from collections.abc import Iterable

from soakwitness.firmware_bridge.recording.when_heating_begins import HeatingDecision


def sure_runs(decisions: Iterable[tuple[HeatingDecision, float]]) -> list[tuple[HeatingDecision, float]]:
    """Decisions with their moments: a run that was doubtful at first begins where that was settled."""
    found: list[tuple[HeatingDecision, float]] = []
    doubted: HeatingDecision | None = None
    for decision, at_s in decisions:
        if decision.act == "begin" and decision.doubtful:
            doubted = decision
        elif decision.act == "settle" and doubted is not None:
            found.append((HeatingDecision("begin", decision.why, doubted.from_s), at_s))
            doubted = None
        elif doubted is not None:
            doubted = None
        else:
            found.append((decision, at_s))
    return found
