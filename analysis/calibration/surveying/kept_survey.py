"""A survey out of the log book, to be shown again as it was made."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from soakwitness.analysis.calibration.surveying.survey import Evenness, Survey, SurveyedSensor
from soakwitness.analysis.calibration.surveying.survey_hold import Strayed
from soakwitness.analysis.calibration.surveying.survey_limits import SurveyLimits, SurveyRequirement
from soakwitness.analysis.calibration.surveying.uniform_time import UniformTime
from soakwitness.analysis.calibration.uncertainty.decision import Decision
from soakwitness.firmware_bridge.common.wording import Says


def survey_from_dict(kept: Mapping[str, Any]) -> Survey:
    """The survey that ``as_dict`` made; what is kept as text is in degC."""
    bands, uniform = kept["bands"], kept.get("uniform")
    return Survey(
        target_c=kept["target_c"],
        target_from=kept["target_from"],
        band_c=kept["band_c"],
        start_s=kept["start_s"],
        end_s=kept["end_s"],
        sensors=tuple(SurveyedSensor(**_of(SurveyedSensor, one)) for one in kept["sensors"]),
        as_read=Evenness(**_of(Evenness, kept["as_read"])),
        corrected=Evenness(**_of(Evenness, kept["corrected"])),
        recovery_s=tuple((one["door_s"], one["recovery_s"]) for one in kept["recovery_s"]),
        requirements=tuple(_requirement(one) for one in kept["requirements"]),
        decision_as_read=_decision(kept["decision_as_read"]),
        decision=None if kept["decision"] is None else _decision(kept["decision"]),
        strayed=tuple(Strayed(**one) for one in kept["strayed"]),
        limits=SurveyLimits(classes_c=tuple(bands["values_c"]), origin=bands["origin"]),
        uniform=None if uniform is None else UniformTime(**_of(UniformTime, uniform)),
    )


def _of(kind: Any, kept: Mapping[str, Any]) -> dict[str, Any]:
    return {name: kept[name] for name in kind.__dataclass_fields__ if name in kept}


def _requirement(kept: Mapping[str, Any]) -> SurveyRequirement:
    return SurveyRequirement(**{**_of(SurveyRequirement, kept), "says": Says.plain(kept["says"])})


def _decision(kept: Mapping[str, Any]) -> Decision:
    lower, upper = kept["limits"]
    accept_from, accept_to = kept["acceptance_limits"]
    return Decision(
        verdict=kept["verdict"],
        value=kept["value"] if kept["value"] is not None else math.nan,
        expanded=kept["expanded"],
        lower=lower,
        upper=upper,
        accept_from=accept_from,
        accept_to=accept_to,
        guard=kept["guard_band_in_u"],
        conformity=kept["probability_of_conformity"],
        wrong_acceptance=kept["largest_probability_of_wrong_acceptance"],
    )
