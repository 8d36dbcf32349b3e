"""The living sentence: what matters now at the furnace, first. Standard library only."""

from __future__ import annotations

from collections.abc import Sequence

from soakwitness.analysis.live.state import ClockState, Kind, PieceState, RecipeFault, Source
from soakwitness.firmware_bridge.common.units import Unit
from soakwitness.firmware_bridge.common.wording import countdown, difference, moment, temperature

SOURCES: dict[Source, str] = {
    "load": "by the load sensor",
    "packet estimate": "estimated in the packet",
    "control": "at the control sensor",
}


WORST_FIRST: tuple[Kind, ...] = ("too hot", "overshoot", "level", "missing", "short", "long")


def sentence(state: ClockState | None, unit: Unit = "C") -> str:
    """Say in one sentence how the soak stands.

    ``state``: state of the soak clock; None before the first reading. Returns for example "Step 4: blade in band 18:40
    of 25:00, take out in 6:20 (estimated in the packet)".
    """
    if state is None:
        return "No reading of the chamber yet"
    if state.hold is None or state.band_c is None:
        return f"All holds are over, chamber at {temperature(state.chamber_c, unit)}"
    place = (
        f"; counted with {difference(state.place_c, unit, signed=True)} for the work's place" if state.place_c else ""
    )
    return f"Step {state.step}: {_of_hold(state, unit)}{place}"


def _of_hold(state: ClockState, unit: Unit) -> str:
    if state.all_out:
        return f"all pieces are out, chamber at {temperature(state.chamber_c, unit)}"
    if not state.pieces:
        return _chamber_only(state, unit)
    if state.phase == "before" and not any(piece.in_band for piece in state.pieces):
        return _on_the_way(state, unit)
    return _pieces(state, unit)


def _pieces(state: ClockState, unit: Unit) -> str:
    groups = state.pieces
    sources = {piece.source for piece in groups}
    if len(groups) == 1:
        return f"{_who(groups[0], alone=True)} {_one(state, groups[0], unit)} ({SOURCES[groups[0].source]})"
    parts = [f"{_who(piece, alone=False)} {_one(state, piece, unit)}" for piece in groups]
    if len(sources) == 1:
        return f"{'; '.join(parts)} ({SOURCES[groups[0].source]})"
    return "; ".join(f"{part} ({SOURCES[piece.source]})" for part, piece in zip(parts, groups, strict=True))


def _who(piece: PieceState, *, alone: bool) -> str:
    if alone:
        return "blade" if len(piece.pieces) <= 1 else "blades"
    names = ", ".join(piece.pieces[:3]) + (" and more" if len(piece.pieces) > 3 else "")
    return f"charge {piece.charge}{f' ({names})' if names else ''}"


def _one(state: ClockState, piece: PieceState, unit: Unit) -> str:
    """How one group of pieces stands, without its name."""
    if not piece.troubles:
        return _so_far(state, piece, unit)
    wrong = f"not to the recipe: {trouble_words(piece.troubles, unit)}"
    if piece.complete:
        return f"in band {countdown(piece.soak_s)} of {countdown(piece.required_s)}, the soak is over, but {wrong}"
    return f"{_so_far(state, piece, unit)}; {wrong}"


def trouble_words(troubles: Sequence[RecipeFault], unit: Unit = "C") -> str:
    """Say the worst of what no longer can be made good, with its numbers."""
    worst = min(troubles, key=lambda trouble: WORST_FIRST.index(trouble.kind))
    by, hold = difference(worst.by_c, unit), f"step {worst.step}"
    if worst.kind == "too hot":
        return f"{by} over the limit of {hold} at {moment(worst.at_s)}"
    if worst.kind == "overshoot":
        return f"{by} more overshoot in {hold} than it may have"
    if worst.kind == "level":
        return f"{by} above the band in {hold}"
    if worst.kind == "missing":
        return f"{hold} was left out"
    limit = "at most" if worst.kind == "long" else "of"
    return f"{countdown(worst.had_s)} {limit} {countdown(worst.asked_s)} in {hold}"


def _so_far(state: ClockState, piece: PieceState, unit: Unit) -> str:
    """How the soak of one group stands."""
    of = f"{countdown(piece.soak_s)} of {countdown(piece.required_s)}"
    if piece.complete and piece.cold:
        return f"in band {of}, the soak is over, cooled in the furnace to {temperature(piece.work_c, unit)}"
    if piece.overdue:
        return f"in band {of}, overdue: {_out(state)}"
    if piece.complete:
        return f"in band {of}, soak complete{_surely(piece) if state.take_out else ''}: {_out(state)}"
    if piece.in_band:
        return f"in band {of}, {_when(state, piece)}"
    short = f"{difference(piece.short_c, unit)} below the band"
    if piece.soak_s > 0.0:
        return f"{short} since {countdown(piece.dip_s)}, soak stands at {of}"
    return f"{short}, soak {of}{', ' + _when(state, piece) if piece.left_s is not None else ''}"


def _when(state: ClockState, piece: PieceState) -> str:
    if piece.left_s is None:
        return "time left not known"
    if not state.take_out:
        return f"complete in {countdown(piece.left_s)}"
    return f"take out in {countdown(piece.left_s)}{_surely(piece)}"


def _surely(piece: PieceState) -> str:
    """What a slow packet, or time without a reading, asks for beyond the best estimate."""
    if piece.sure_in_s is None or piece.sure_in_s < (piece.left_s or 0.0) + 30.0:
        return ""
    return f", to be sure in {countdown(piece.sure_in_s)}"


def _out(state: ClockState) -> str:
    return "take out, gloves and face shield on" if state.take_out else "on to the next hold"


def _on_the_way(state: ClockState, unit: Unit) -> str:
    assert state.band_c is not None
    lower_c, upper_c = state.band_c
    if state.chamber_c < lower_c:
        where = f"{difference(lower_c - state.chamber_c, unit)} to go to the band"
    elif state.chamber_c > upper_c:
        where = f"{difference(state.chamber_c - upper_c, unit)} to come down to the band"
    else:
        where = "in band"
    blades = f", blade at {temperature(min(piece.work_c for piece in state.pieces), unit)}" if state.pieces else ""
    named = f" ({SOURCES[state.pieces[0].source]})" if blades else ""
    return f"chamber at {temperature(state.chamber_c, unit)}, {where}{blades}{named}"


def _chamber_only(state: ClockState, unit: Unit) -> str:
    """Loaded hot and nobody has marked the loading."""
    if state.phase != "in":
        return _on_the_way(state, unit) + ("" if state.loaded else ", not loaded yet")
    return f"chamber in band for {countdown(state.chamber_soak_s)}, no load mark: the soak counts from loading, mark it"
