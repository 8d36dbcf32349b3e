"""Decision rules: saying pass or fail where a measured value has an uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

Verdict = Literal["pass", "fail", "not proven"]
REFERENCES = ("ILAC-G8:09/2019", "JCGM 106:2012")


@dataclass(frozen=True)
class Decision:
    """Verdict on one value against its limits, with the acceptance limits that follow from the guard band.

    ``conformity`` is the probability that the true value is inside the limits, ``wrong_acceptance`` the largest
    probability of a wrong acceptance under this rule (value on the acceptance limit).
    """

    verdict: Verdict
    value: float
    expanded: float
    lower: float | None
    upper: float | None
    accept_from: float | None
    accept_to: float | None
    guard: float
    conformity: float
    wrong_acceptance: float

    @property
    def rule(self) -> str:
        """Rule in words."""
        if self.guard == 0.0:
            return "simple acceptance: the reading alone decides (guard band 0)"
        return f"guard band of {self.guard:g} x U on the inner side of each limit; between the two: not proven"

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON."""
        return {
            "verdict": self.verdict,
            "value": self.value,
            "expanded": self.expanded,
            "limits": [self.lower, self.upper],
            "acceptance_limits": [self.accept_from, self.accept_to],
            "guard_band_in_u": self.guard,
            "probability_of_conformity": self.conformity,
            "largest_probability_of_wrong_acceptance": self.wrong_acceptance,
            "rule": self.rule,
            "references": list(REFERENCES),
        }


def acceptance_limit(limit: float, expanded: float, *, side: Literal["lower", "upper"], guard: float = 1.0) -> float:
    """Acceptance limit that a guard band leaves.

    ``expanded``: expanded uncertainty U (k = 2) in the same unit. Returns AL = TL - w for an upper limit, TL + w for a
    lower one.

    Source: ILAC-G8:09/2019, 4.2; JCGM 106:2012, 8.3.2.
    """
    width = guard * expanded
    return limit - width if side == "upper" else limit + width


def wrong_acceptance(guard: float, k: float = 2.0) -> float:
    """Largest probability of accepting what does not conform: the value stands on the acceptance limit.

    Returns 1 - Phi(w/u) with u = U/k, for a normal distribution.

    Source: ILAC-G8:09/2019, table 1; JCGM 106:2012, 9.3.
    """
    return _below(-guard * k)


def conformity(value: float, u: float, lower: float | None = None, upper: float | None = None) -> float:
    """Probability that the true value lies inside the limits.

    Source: JCGM 106:2012, 7.2 and 7.4.
    """
    if u <= 0:
        return float((lower is None or value >= lower) and (upper is None or value <= upper))
    high = 1.0 if upper is None else _below((upper - value) / u)
    low = 0.0 if lower is None else _below((lower - value) / u)
    return high - low


def decide(
    value: float,
    expanded: float,
    *,
    lower: float | None = None,
    upper: float | None = None,
    guard: float = 1.0,
    k: float = 2.0,
) -> Decision:
    """Decide on a value: pass inside the acceptance limits, fail outside the rejection limits, else not proven.

    ``guard``: guard band w as a multiple of U, on either side of a limit.

    Source: ILAC-G8:09/2019, 4.2.3 (non-binary statement with guard band); JCGM 106:2012, 8.3.
    """
    accept_from = None if lower is None else acceptance_limit(lower, expanded, side="lower", guard=guard)
    accept_to = None if upper is None else acceptance_limit(upper, expanded, side="upper", guard=guard)
    reject_from = None if lower is None else acceptance_limit(lower, expanded, side="upper", guard=guard)
    reject_to = None if upper is None else acceptance_limit(upper, expanded, side="lower", guard=guard)
    verdict: Verdict = "not proven"
    if (accept_from is None or value >= accept_from) and (accept_to is None or value <= accept_to):
        verdict = "pass"
    elif (reject_from is not None and value < reject_from) or (reject_to is not None and value > reject_to):
        verdict = "fail"
    return Decision(
        verdict=verdict,
        value=value,
        expanded=expanded,
        lower=lower,
        upper=upper,
        accept_from=accept_from,
        accept_to=accept_to,
        guard=guard,
        conformity=conformity(value, expanded / k, lower, upper),
        wrong_acceptance=wrong_acceptance(guard, k),
    )


def _below(z: float) -> float:
    """Standard normal distribution function."""
    return 0.5 * math.erfc(-z / math.sqrt(2.0))
