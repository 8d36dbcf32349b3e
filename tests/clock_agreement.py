"""The soak clock, reading by reading, beside ``verify`` of the same record: what they said otherwise."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from soakwitness.analysis.errors import NotEnoughData
from soakwitness.analysis.live.clock import SoakClock
from soakwitness.analysis.live.followed_sensors import LiveSensor
from soakwitness.analysis.live.state import ClockState
from soakwitness.analysis.packet.piece import PacketModel, packet_of
from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.record.run import Run
from soakwitness.analysis.verification.inputs.stays import piece_spec
from soakwitness.analysis.verification.results.verification import Verification
from soakwitness.analysis.verification.verifying import verify
from soakwitness.firmware_bridge.runfolder.contents import Mark
from tests.clock_runs import ClockRun, until

LOOK_EVERY_S, LOOK_SELDOM_S, SOON_S = 10.0, 60.0, 150.0
LATE_S = 120.0  # a crossing is confirmed by what follows it, a look at the whole run takes its time
Tally = dict[str, list[object]]


def clock_of(drawn: ClockRun) -> SoakClock:
    """The clock as the recorder makes it: what is known of sensors and pieces, nothing of the readings to come."""
    recipe, run = drawn.recipe, drawn.run
    sensors = [
        LiveSensor(c.name, c.role or "", c.thickness_mm, c.resolution) for c in run.columns if c.kind == "sensor"
    ]
    packets: dict[str, PacketModel] = {}
    for piece in drawn.pieces:
        packet = packet_of(None, piece_spec(recipe, piece), recipe.steel)
        if packet is not None:
            packets[piece.id] = packet
    return SoakClock(
        recipe,
        sensors=sensors,
        packets=packets,
        known=drawn.pieces,
        every_s=run.traces[0].period_s,
    )


def fed(drawn: ClockRun, clock: SoakClock) -> Iterable[tuple[float, ClockState]]:
    """States of a clock that is fed with a run: often while a soak is about to be complete, else each minute."""
    look_s = -1.0
    for t_s in heard(drawn.run, clock):
        if t_s >= look_s:
            state = clock.state()
            soon = state is not None and any(0.0 < (p.left_s or 0.0) < SOON_S for p in state.pieces)
            look_s = t_s + (LOOK_EVERY_S if soon else LOOK_SELDOM_S)
            if state is not None:
                yield t_s, state


def heard(run: Run, clock: SoakClock) -> Iterable[float]:
    """Feed a clock with a run, reading by reading; the time of each [s]."""
    values = {c.name: run.values[c.name].tolist() for c in run.columns if c.kind == "sensor"}
    signals = {name: row.tolist() for name in ("output", "setpoint") if (row := run.signal(name)) is not None}
    order = sorted(run.marks, key=lambda m: m.t_s)
    marks: tuple[Mark, ...] = ()
    for k, t_s in enumerate(run.t_s.tolist()):
        if len(marks) < len(order) and order[len(marks)].t_s <= t_s:
            marks = tuple(m for m in order if m.t_s <= t_s)
        seen = {name: (row[k] if row[k] == row[k] else None) for name, row in values.items()}
        now = {name: row[k] for name, row in signals.items() if row[k] == row[k]}
        clock.read(t_s, seen, signals=now, marks=marks)
        yield t_s


def fed_whole(run: Run, recipe: Recipe) -> SoakClock:
    """A clock that was fed with a whole run of which nothing is known beside it."""
    clock = clock_of(ClockRun(0, (), run, recipe))
    for _ in heard(run, clock):
        pass
    return clock


def verified(drawn: ClockRun, run: Run | None = None) -> Verification | None:
    """What ``verify`` says; None where there is too little."""
    try:
        return verify(run or drawn.run, drawn.recipe, pieces=drawn.pieces)
    except NotEnoughData:
        return None


def why_failed(said: Verification, pieces: tuple[str, ...]) -> list[str]:
    """What a verdict on some pieces fails for, those that are elsewhere left out."""
    names, why = {name.casefold() for name in pieces}, []
    for number, hold in enumerate(said.holds, start=1):
        if hold.judged and hold.verdict == "fail" and not hold.found:
            why.append(f"hold {number} missing")
        elif not hold.pieces and hold.judged and hold.verdict == "fail":
            why += [f"hold {number} {unmet}" for unmet in hold.unmet or ("?",)]
        elif not hold.pieces and hold.limits_verdict == "fail":
            why.append(f"hold {number} limits")
        for piece in hold.pieces:
            mine = not names or piece.piece is None or piece.piece.casefold() in names
            if mine and piece.pull_s is None and piece.verdict == "fail" and hold.judged:
                why += [f"hold {number} {unmet}" for unmet in piece.unmet or ("?",)]
            elif mine and piece.pull_s is None and piece.limits_verdict == "fail":
                why.append(f"hold {number} limits")
    return why


def compare(drawn: ClockRun, tally: Tally) -> None:
    """One run, its troubles and distances entered in a tally."""
    clock = clock_of(drawn)
    told: dict[tuple[str, ...], float] = {}
    tally["runs"].append(drawn.seed)
    for t_s, state in fed(drawn, clock):
        if not state.take_out:
            continue
        for piece in state.pieces:
            if piece.complete and not piece.troubles and piece.pieces not in told:
                told[piece.pieces] = t_s
                tally["complete told"].append(drawn.seed)
                said = verified(drawn, until(drawn.run, t_s))
                if said is None:
                    continue
                charge = (f"charge {piece.charge}",) if len(state.pieces) > 1 else ()  # of several without a name
                why = why_failed(said, piece.pieces or charge)
                if why:
                    tally["complete although verify fails"].append((drawn.seed, round(t_s), *why))
    said = verified(drawn)
    if said is None or clock.state() is None:
        tally["no readings"].append(drawn.seed)
        return
    _compare_passes(drawn, said, told, tally)
    _compare_soaks(drawn, said, clock, tally)


def _compare_passes(drawn: ClockRun, said: Verification, told: dict[tuple[str, ...], float], tally: Tally) -> None:
    """A run that passes must have been told complete, where it passes a while before its last pull or end already."""
    if said.verdict != "pass":
        return
    tally["passes"].append(drawn.seed)
    if told:
        return
    pulls = [m.t_s for m in drawn.run.marks if m.act == "pull" and not m.struck]
    last_s = min([*pulls, float(drawn.run.t_s[-1])])
    leaves = [h.leave_s for h in said.holds if h.leave_s is not None]
    last_s = min(last_s, leaves[-1]) if leaves else last_s
    earlier = verified(drawn, until(drawn.run, last_s - LATE_S))
    if earlier is not None and earlier.verdict == "pass":
        tally["never complete although verify passes"].append((drawn.seed, round(last_s)))


def soaks_of(clock: SoakClock) -> dict[int, dict[str | None, float]]:
    """Longest soak so far [s] of each piece in each hold, holds from 1; of those without a name the shortest."""
    if clock._chamber is None:
        return {}
    clock._looked = None
    standing, _ = clock._look()
    soaks: dict[int, dict[str | None, float]] = {}
    for number in range(len(clock._recipe.holds)):
        mine = soaks[number + 1] = {}
        for lot in clock._lots:
            soak_s = standing.deciding(lot, number)[1].count.longest_s
            for name in lot.pieces or (None,):
                mine[name] = (
                    max(mine.get(name, 0.0), soak_s) if name is not None else min(mine.get(None, soak_s), soak_s)
                )
    return soaks


def _compare_soaks(drawn: ClockRun, said: Verification, clock: SoakClock, tally: Tally) -> None:
    """Distance of each hold's soak, that of its worst piece."""
    soaks = soaks_of(clock)
    for number, hold in enumerate(said.holds, start=1):
        mine, best = soaks.get(number, {}), dict[str | None, float]()
        if not hold.found or hold.soak_s is None or not mine:
            continue
        if not hold.pieces:  # nothing was marked
            best[None] = hold.soak_s.best
        for piece in hold.pieces:  # the clock tells those that nobody named together, by the shortest
            name = piece.piece if piece.piece in mine else None
            best[name] = min(best.get(name, piece.soak_s.best), piece.soak_s.best)
        for name, soak_s in best.items():
            if name in mine:
                tally["distances"].append((mine[name] - soak_s, drawn.seed, number, name))
            else:
                tally["piece unknown to the clock"].append((drawn.seed, number, name))


def tally_of(runs: Iterable[ClockRun]) -> Tally:
    """Compare many runs."""
    tally: Tally = defaultdict(list)
    for drawn in runs:
        compare(drawn, tally)
    return tally
