"""How a mark came to be, and by how much its moment may be wrong: the one home of both.

``tapped`` on a page by a device whose clock is known; ``key`` of the recording terminal; ``contact`` of a foot switch,
a door or the plates; ``command`` given at that moment; ``typed``: the moment was said afterwards, or by a device whose
clock nobody knows; ``inferred`` from a dip of the chamber and confirmed by a person, never seen or pressed. A mark of a
record that says nothing of it has None.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, get_args

from soakwitness.firmware_bridge.common.wording import number

if TYPE_CHECKING:
    from soakwitness.firmware_bridge.runfolder.contents import Mark

Origin = Literal["tapped", "key", "contact", "command", "typed", "inferred"]
ORIGINS: tuple[Origin, ...] = get_args(Origin)
INFERRED_WITHIN_S = 10.0  # from the door's dip to what was done then
CLOCK_KNOWN_S = 2.0  # a device's clock that is further off, or of which nobody knows, gives a typed moment


def origin_of_own_clock(clock_off_s: float | None) -> Origin:
    """What a mark with a device's own moment is, whose clock is ``clock_off_s`` ahead of ours [s] (None: not known)."""
    return "tapped" if clock_off_s is not None and abs(clock_off_s) <= CLOCK_KNOWN_S else "typed"


def bounds_only(mark: Mark) -> bool:
    """Whether a mark only bounds what it speaks of: nobody saw or pressed it."""
    return mark.origin == "inferred"


def judged_within_s(mark: Mark) -> float:
    """By how much the moment of a mark that only bounds may be wrong [s]."""
    return INFERRED_WITHIN_S if mark.within_s is None else mark.within_s


def origin_words(mark: Mark) -> str:
    """What is to be said of a mark's moment: ``inferred, ± 10 s``; empty where it was entered as it happened."""
    said = {"inferred": "inferred", "typed": "entered later, its time typed"}
    words = said.get(mark.origin or "") or ("entered later" if mark.entered_later else "")
    return f"{words}, ± {number(mark.within_s)} s" if words and mark.within_s is not None else words
