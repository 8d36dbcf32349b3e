"""What door dips are offered as, as a question with its answer's command."""

from __future__ import annotations

from collections.abc import Sequence

from soakwitness.analysis.verification.inferring import Inferred, Offered
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import counted, difference, duration, listed, moment
from soakwitness.firmware_bridge.runfolder.origins import INFERRED_WITHIN_S


def inferred_lines(found: Inferred, run: str, unit: Unit) -> list[str]:
    """A line for each dip, then the question, or why nothing is asked."""
    if not found.seen:
        return [f"{run}: no door dip without a mark was seen."]
    acts = dict(zip((one.opening for one in found.offered), found.offered, strict=True))
    lines = [f"{counted(len(found.seen), 'door dip')} seen in {run} that no mark explains:"]
    for opening in found.seen:
        act = f"  {offered_words(acts[opening])}?" if opening in acts else ""
        lines.append(f"  {moment(opening.at_s)}  {difference(opening.depth_c, unit)} down{act}")
    if not found.offered:
        then = f"Enter what is known: soakwitness mark pull PIECE --run {run} --at TIME"
        return [*lines, f"Nothing is offered: {found.why}. {then}"]
    return [*lines, f"{question(found.offered)} Then: soakwitness mark --inferred {run} --confirm"]


def brief_question(found: Inferred, run: str) -> list[str]:
    """The question with the way to its answer, beside a verdict that was just told; nothing where none is asked."""
    if not found.offered:
        return []
    dips = counted(len(found.offered), "door dip")
    return [f"{dips} without a mark: {_asked(found.offered)} Look: soakwitness mark --inferred {run}"]


def question(offered: Sequence[Offered]) -> str:
    """The question, and what becomes of a yes."""
    within = f"They are kept as inferred, ± {duration(INFERRED_WITHIN_S)}: they end no soak alone and prove no quench."
    return f"{_asked(offered)} {within}"


def _asked(offered: Sequence[Offered]) -> str:
    """The question in one sentence: ``Were these the pulls of B-1 and B-2, in the order of the rack?``."""
    names = [one.piece for one in offered if one.act == "pull" and one.piece is not None]
    loads, pulls = (sum(one.act == act for one in offered) for act in ("load", "pull"))
    parts = ["the load"] if loads else []
    if pulls:
        parts.append(f"the pull{'s' if pulls > 1 else ''}{' of ' + listed(names) if names else ''}")
    row = ", in the order of the rack" if len(names) > 1 else ""
    return f"Were these {listed(parts)}{row}?"


def offered_words(one: Offered) -> str:
    """What one dip is offered as: ``pull of B-1``."""
    return f"{one.act} of {one.piece}" if one.piece is not None else one.act
