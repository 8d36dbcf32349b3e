"""What is other in two answers about one run: verdict, basis, requirements, findings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from soakwitness.analysis.logbook.kept import KeptVerdict
from soakwitness.firmware_bridge.common.wording import duration

Answer = Mapping[str, Any]
RUN_FACTS = (("verdict", "verdict"), ("decided_on", "decided on"), ("temperature_from", "temperature from"))
SAME_SOAK_S = 1.0
STEP_FACTS = (
    ("found", "found"),
    ("verdict", "verdict"),
    ("as_read", "as read"),
    ("at_true_temperature", "at true temperature"),
    ("decided_on", "decided on"),
    ("temperature_from", "temperature from"),
)


def what_changed(old: KeptVerdict, new: Answer | None, *, recipe_digest: str | None, trouble: str | None = None) -> str:
    """Say what is other in a new answer than in the one that was kept.

    ``new``: the new answer of ``verify --json``; None: the run cannot be judged any more. ``recipe_digest``: digest of
    the recipe it is judged by now. Returns sentences, such as "verdict: pass, now not proven; step 4, as read: pass,
    now fail; new: short soak (step 4)". Empty where verdict, basis, requirements and findings are the same.
    """
    if new is None:
        return f"verdict: {old.verdict}, now none" + (f" ({trouble.rstrip('.')})" if trouble else "")
    says = ["judged by another recipe"] if recipe_digest != old.recipe_digest else []
    says += _facts(old.answer, new, RUN_FACTS, "")
    says += _errors(old.answer, new)
    says += _packets(old.answer, new)
    says += _steps(old.answer, new)
    says += _findings(old.answer, new)
    return "; ".join(says)


def _facts(old: Answer, new: Answer, facts: Sequence[tuple[str, str]], where: str) -> Iterator[str]:
    for key, words in facts:
        if key in old and key in new and old[key] != new[key]:
            yield f"{where}{words}: {_said(old[key])}, now {_said(new[key])}"


def _said(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "none" if value is None else str(value)


def _errors(old: Answer, new: Answer) -> Iterator[str]:
    """What is known of the deciding sensor's error."""
    here, there = (answer.get("sensor_error") or {} for answer in (old, new))
    if here.get("source") != there.get("source"):
        yield f"sensor error: {_said(here.get('source'))}, now {_said(there.get('source'))}"
    elif here.get("says") != there.get("says"):
        yield f"sensor error: {_said(here.get('says'))}, now {_said(there.get('says'))}"


def _packets(old: Answer, new: Answer) -> Iterator[str]:
    here, there = (answer.get("packet") or {} for answer in (old, new))
    if here.get("digest") != there.get("digest"):
        yield f"measured packet: {here.get('file') or 'none'}, now {there.get('file') or 'none'}"


def _steps(old: Answer, new: Answer) -> Iterator[str]:
    before = {step["step"]: step for step in old.get("steps", ())}
    for step in new.get("steps", ()):
        if step["step"] in before:
            says = list(_facts(before[step["step"]], step, STEP_FACTS, f"step {step['step']}, "))
            yield from says
            if says:
                yield from _soak(before[step["step"]], step)


def _soak(old: Answer, new: Answer) -> Iterator[str]:
    """How the best figure of the soak moved, where a requirement is other."""
    here, there = ((step.get("soak_s") or {}).get("best") for step in (old, new))
    if here is not None and there is not None and abs(here - there) > SAME_SOAK_S:
        yield f"step {new['step']}, soak: {duration(here)}, now {duration(there)}"


def _findings(old: Answer, new: Answer) -> Iterator[str]:
    here, there = (_coded(answer) for answer in (old, new))
    come, gone = [f for f in there if f not in here], [f for f in here if f not in there]
    if come:
        yield f"new: {', '.join(come)}"
    if gone:
        yield f"gone: {', '.join(gone)}"


def _coded(answer: Answer) -> list[str]:
    """Findings as a person names them, each with its weight where that is not a note's."""
    named = []
    for finding in answer.get("findings", ()):
        step = f" (step {finding['step']})" if finding.get("step") else ""
        named.append(f"{finding['code']}{step}" + {"fail": " that fails", "warn": ""}.get(finding["severity"], ""))
    return list(dict.fromkeys(named))
