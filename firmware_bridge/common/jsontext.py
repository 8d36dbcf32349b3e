"""JSON out of a file that a crash, a disk or a person may have spoilt: what cannot be meant is a ValueError."""

from __future__ import annotations

import json
import math
from typing import Any

_LONGEST = 20  # digits of a whole number: 64 bits have 19
MOST = 2**63


def from_json(text: str | bytes) -> Any:
    """What a JSON text holds; brackets without end and numbers beyond 64 bits or infinite are a ``ValueError`` too."""
    try:
        return json.loads(text, parse_int=_whole, parse_float=_finite, parse_constant=_finite)
    except RecursionError:
        raise ValueError("brackets within brackets without end") from None


def _whole(digits: str) -> int:
    if len(digits) > _LONGEST or abs(number := int(digits)) >= MOST:
        raise ValueError(f"a number too large ({digits[:20]}...)")
    return number


def _finite(text: str) -> float:
    number = float(text)
    if not math.isfinite(number):
        raise ValueError(f"a number without end ({text[:20]})")
    return number
