"""One run judged and measured for the log book."""

from __future__ import annotations

import json
from typing import Any

from soakwitness.analysis.errors import AnalysisError
from soakwitness.analysis.evidence.run_figures import to_plain
from soakwitness.analysis.logbook.kept import Computed
from soakwitness.analysis.record.run import Run, open_run
from soakwitness.analysis.run_inputs.known_inputs import RunInputs
from soakwitness.analysis.verification.results.verification import Verification


def compute(inputs: RunInputs, *, recipe_digest: str | None, ended_utc: str | None) -> Computed:
    """Verify and measure one run.

    ``recipe_digest``: digest of the recipe it is judged by, also of one that cannot be read. Returns verdict and
    figures; what cannot be had is left out and said.
    """
    run = open_run(inputs.folder)
    verification, trouble = None, inputs.trouble
    try:
        verification = inputs.judged(run) if inputs.recipe is not None else None
    except AnalysisError as error:
        trouble = str(error)
    return measured(inputs, run, verification, recipe_digest=recipe_digest, ended_utc=ended_utc, trouble=trouble)


def measured(
    inputs: RunInputs,
    run: Run,
    verification: Verification | None,
    *,
    recipe_digest: str | None,
    ended_utc: str | None,
    trouble: str | None = None,
) -> Computed:
    """Measure a run that was opened and verified already."""
    from soakwitness.analysis.condition.health import condition_figures
    from soakwitness.analysis.condition.measuring import control_trace, run_figures

    run, recipe = inputs.on_record(run), inputs.recipe
    control = control_trace(run)
    sensor = None if control is None else inputs.sensors.get(control.name)
    figures = run_figures(run, recipe, verification, sensor=sensor, ended_utc=ended_utc)
    load = inputs.load
    condition = condition_figures(
        run,
        recipe,
        verification,
        figures,
        pieces=inputs.pieces,
        load_kg=None if load is None else load.kg,
        empty=load is not None and load.empty,
    )
    return Computed(
        run=run.header.run,
        recipe_digest=recipe_digest,
        verdict=verification.verdict if verification else None,
        answer=_text(inputs.answer(verification)) if verification else None,
        audit=_text(to_plain(figures)),
        condition=_text(to_plain(condition)),
        trouble=trouble,
    )


def _text(data: dict[str, Any]) -> str:
    return json.dumps(_finite(data), ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def _finite(value: Any) -> Any:
    """Plain data without NaN or infinity, which JSON cannot say."""
    if isinstance(value, dict):
        return {str(key): _finite(part) for key, part in value.items()}
    if isinstance(value, (list, tuple)):
        return [_finite(part) for part in value]
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float) and not abs(value) < float("inf"):
        return None
    return round(value, 4) if isinstance(value, float) else value
