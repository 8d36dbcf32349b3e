"""Groups of open steel designations that transform at about the same heat. Standard library only."""

from __future__ import annotations

import re
from typing import Literal

SteelGroup = Literal["carbon", "tool", "stainless", "unknown"]

# What designations begin with: the carbon ones are numbers of four digits and more, a stainless 10Cr15CoMoV is none.
GROUP_STARTS: tuple[tuple[SteelGroup, str], ...] = (
    ("stainless", r"S4|420|440|1\.4[015]"),
    ("tool", r"T30|A2|A6|D2|D3|D6|1\.23[67]|1\.208"),
    ("carbon", r"G1|G5|10\d\d|15\d\d|15N20|51\d\d|52\d\d|10\dW?CR6|O1|W1|W2|T315|T72|1\.1[12]|1\.28|1\.35"),
)


def steel_group(steel: str | None) -> SteelGroup:
    """Group of an open steel designation: where its transformation is to be expected."""
    name = (steel or "").strip().upper().replace(" ", "")
    return next((group for group, starts in GROUP_STARTS if re.match(starts, name)), "unknown")
