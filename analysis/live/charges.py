"""Which pieces are in the furnace now, from the marks so far. Standard library only."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from soakwitness.firmware_bridge.runfolder.model import Mark


@dataclass(frozen=True)
class Charge:
    """Pieces that went in together at ``load_s`` [s]. ``pieces`` empty: nobody named them.

    ``out`` are the named pieces pulled so far, each with its time [s]; ``empty_s`` [s] when the last came out.
    """

    number: int
    load_s: float
    pieces: tuple[str, ...] = ()
    out: tuple[tuple[str, float], ...] = ()
    empty_s: float | None = None

    @property
    def inside(self) -> tuple[str, ...]:
        """Named pieces that are still in."""
        gone = {name for name, _ in self.out}
        return tuple(name for name in self.pieces if name not in gone)

    def end_s(self, pieces: tuple[str, ...]) -> float | None:
        """When the last of these pieces came out [s], None while one is in; no names: the whole charge."""
        times = [at_s for name, at_s in self.out if name in pieces]
        return max(times) if pieces and len(times) == len(pieces) else self.empty_s


def charges_of(marks: Iterable[Mark], *, loaded_cold_s: float | None) -> tuple[Charge, ...]:
    """Read the charges from the marks of a run so far.

    Parameters
    ----------
    marks : iterable of Mark
        Marks; struck ones are left out.
    loaded_cold_s : float or None
        Start of a run whose charge rides the first ramp [s]: one charge is in from then on unless a load mark says
        otherwise. None: loaded hot, nothing is in without a mark.

    Returns
    -------
    tuple of Charge
        In the order of loading.

    Notes
    -----
    As ``verification.pieces`` has it: a pull without names speaks of every piece that is in.
    """
    valid = sorted((m for m in marks if not m.struck and m.act in ("load", "pull")), key=lambda m: m.t_s)
    charges: list[Charge] = []
    if loaded_cold_s is not None and not any(m.act == "load" for m in valid):
        charges.append(Charge(1, loaded_cold_s))
    for mark in valid:
        if mark.act == "load":
            charges.append(Charge(len(charges) + 1, mark.t_s, mark.pieces))
        else:
            charges = [_pulled(charge, mark) for charge in charges]
    return tuple(charges)


def _pulled(charge: Charge, mark: Mark) -> Charge:
    if charge.empty_s is not None:
        return charge
    going = charge.inside if not mark.pieces else tuple(name for name in mark.pieces if name in charge.inside)
    out = (*charge.out, *((name, mark.t_s) for name in going))
    empty = not mark.pieces or (bool(charge.pieces) and len(out) == len(charge.pieces))
    return replace(charge, out=out, empty_s=mark.t_s if empty else None)
