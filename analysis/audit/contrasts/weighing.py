"""What speaks for a cause, what against, what is missing: weighed by one scale that all causes share."""

from __future__ import annotations

from dataclasses import dataclass, field

from soakwitness.analysis.audit.contrasts.dose import Dose, Explained
from soakwitness.firmware_bridge.common.wording import Says, saying

CLAIM = 2.5
"""A cause is claimed from this sum of weights on; below it is only named as possible."""

# How much one statement weighs.
PROOF = 4.0  # nothing else looks like this
STRONG = 3.0  # the record shows it, and the good ones had it not
FAIR = 2.0
LIGHT = 1.0
HINT = 0.5


@dataclass(frozen=True)
class Statement:
    """One sentence with its weight."""

    weight: float
    says: Says


@dataclass
class Scale:
    """Collects statements about one cause, and what it can have done to hardness; None: nobody knows."""

    pro: list[Statement] = field(default_factory=list)
    con: list[Statement] = field(default_factory=list)
    missing: list[Says] = field(default_factory=list)
    dose: Dose | None = None

    def speaks_for(self, weight: float, says: str | Says) -> None:
        """Enter a sentence that speaks for the cause."""
        self.pro.append(Statement(weight, saying(says)))

    def speaks_against(self, weight: float, says: str | Says) -> None:
        """Enter a sentence that speaks against it."""
        self.con.append(Statement(weight, saying(says)))

    def lacks(self, says: str) -> None:
        """Enter what is not known."""
        if (sentence := saying(says)) not in self.missing:
            self.missing.append(sentence)

    @property
    def score(self) -> float:
        """Sum of the weights."""
        return sum(s.weight for s in self.pro) - sum(s.weight for s in self.con)


@dataclass(frozen=True)
class Opinion:
    """What the audit thinks of one cause. ``explained_by`` is a claimed cause of which this one is only the effect.

    ``explains``: how much of the loss it can explain; None where that is not known. ``pieces``: the suspects it is
    about, where the others have another cause; empty for all.
    """

    cause: str
    score: float
    claimed: bool
    pro: tuple[Says, ...]
    con: tuple[Says, ...]
    missing: tuple[Says, ...]
    next: str
    explained_by: str | None = None
    explains: Explained | None = None
    pieces: tuple[str, ...] = ()
