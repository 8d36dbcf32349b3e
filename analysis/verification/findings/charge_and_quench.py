"""Findings on what people did: late quench, tempered before it was cool, loaded before recovery, marks missing."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from soakwitness.analysis.verification.findings.view import View, range_words
from soakwitness.analysis.verification.holds.assignment import block_medians
from soakwitness.analysis.verification.inputs.stays import Stay
from soakwitness.analysis.verification.results.verification import Finding
from soakwitness.analysis.verification.sensors.gathered_run import GatheredRun
from soakwitness.firmware_bridge.common.wording import (
    Diff,
    Says,
    Temp,
    duration,
    duration_past_limit,
    joined,
    listed,
    moment,
)

DOOR_DROP_C = 8.0
DOOR_WITHIN_S = 120.0
RECOVERY_C = 10.0


def find(view: View) -> list[Finding]:
    """All findings of this topic."""
    return [
        *_quench(view),
        *_cooling(view),
        *_order(view),
        *_between_rounds(view),
        *_recovery(view),
        *_unmarked_load(view),
        *_doubts(view),
    ]


def _name(stay: Stay) -> str:
    return stay.piece or stay.charge or "the charge"


def _doubts(view: View) -> list[Finding]:
    """What marks leave to be asked: names that are not in the charge, a second pull, and so on."""
    return [
        Finding(
            "mark in doubt",
            "note",
            None,
            Says.plain(asked.says),
            asked.next,
            at_s=asked.mark.t_s,
            pieces=asked.pieces,
        )
        for asked in view.run.questions
    ]


def _quench(view: View) -> list[Finding]:
    quench = view.run.recipe.quench
    if quench is None or quench.within_s is None:
        return []
    found = []
    for stay in view.run.stays:
        delay = stay.quench_delay_s
        if delay is not None and delay > quench.within_s:
            name, allowed = _name(stay), duration(quench.within_s)
            took = duration_past_limit(delay, quench.within_s)
            says = f"took {took} from the pull to the {quench.medium}; {allowed}"
            brief = f"{name} took {took} to the {quench.medium}, {allowed} allowed"
            found.append(
                Finding(
                    "late quench",
                    "fail",
                    None,
                    Says.of("{name} {says} are allowed.", name=name, says=says),
                    Says("Check its hardness before it goes on; bring the quench nearer to the furnace."),
                    at_s=stay.pull_s,
                    until_s=stay.plates_s,
                    pieces=(stay.piece,) if stay.piece else (),
                    brief=Says.plain(brief),
                )
            )
    unseen = [s for s in view.run.stays if _unseen(s)]
    if unseen:
        found.append(_unseen_quench(unseen))
    open_ = [s for s in view.run.stays if (s.pull_s is None or s.plates_s is None) and s not in unseen]
    if open_ and view.run.recipe.repeat == 1:
        names = ", ".join(sorted({_name(s) for s in open_}))
        found.append(
            Finding(
                "not on record",
                "note",
                None,
                Says.of("The quench of {names} is not on record: it takes a pull mark and a plates mark.", names=names),
                Says("Mark the pull and the plates: soakwitness mark pull, soakwitness mark plates."),
                brief=Says("the quench"),
            )
        )
    return found


def _unseen(stay: Stay) -> bool:
    """Whether pull or plates were inferred: such a moment bounds a soak, and proves no quench either way."""
    return bool(stay.within_s("pull") or stay.within_s("plates"))


def _unseen_quench(stays: Sequence[Stay]) -> Finding:
    within_s = max(max(stay.within_s("pull"), stay.within_s("plates")) for stay in stays)
    names = ", ".join(sorted({_name(stay) for stay in stays}))
    return Finding(
        "not on record",
        "note",
        None,
        Says.plain(
            f"The time to the quench of {names} is not proven: when it was pulled or on the plates is inferred from a "
            f"door dip, ± {duration(within_s)}."
        ),
        Says("Mark the pull and the plates as they happen: a key, a foot switch or a contact on the plates will do."),
        brief=Says("the time to the quench"),
    )


def _cooling(view: View) -> list[Finding]:
    """Cooling time of a load sensor that rides through the quench."""
    quench = view.run.recipe.quench
    if quench is None or quench.cool_from_c is None or quench.cool_to_c is None or quench.cool_within_s is None:
        return []
    span = Says.of("from {high} to {low}", high=Temp(quench.cool_from_c), low=Temp(quench.cool_to_c))
    took = view.judged.measured.cooling_s
    if took is None:
        return [
            Finding(
                "not on record",
                "note",
                None,
                Says.of(
                    "The cooling {span} is not on record: it takes a load sensor that rides through the quench.",
                    span=span,
                ),
                Says("Let the load sensor go with the piece into the quench once."),
                brief=Says("the cooling in the quench"),
            )
        ]
    verdict = view.judged.cooling
    if verdict in (None, "pass"):
        return []
    return [
        Finding(
            "slow cooling",
            "fail" if verdict == "fail" else "warn",
            None,
            Says.of(
                "The load sensor took {took} {span}; {allowed} are allowed.",
                took=range_words(took),
                span=span,
                allowed=duration(quench.cool_within_s),
            ),
            Says(
                "Check the hardness; press the plates closer, or use a faster quench."
                if verdict == "fail"
                else "Check the hardness; read more often in the quench: it is too near its limit to tell."
            ),
            at_s=min((s.pull_s for s in view.run.stays if s.pull_s is not None), default=None),
            brief=Says.of(
                "the load sensor took {took} {span}, {allowed} allowed",
                took=range_words(took),
                span=span,
                allowed=duration(quench.cool_within_s),
            ),
        )
    ]


def _order(view: View) -> list[Finding]:
    """What the recipe's order names and no furnace run can show; once it was entered, nothing is said."""
    order = view.run.recipe.order
    if "cold treatment" not in order:
        return []
    names = view.run.not_cold_treated
    left_out = [_left_out(names)] if names else []
    if view.run.cold_treated:
        return left_out
    return [
        *left_out,
        Finding(
            "not on record",
            "note",
            None,
            Says(f"The recipe's order is {', '.join(order)}; a furnace run shows no cold treatment."),
            Says("Enter it with the piece: soakwitness piece treatment."),
            brief=Says("the cold treatment"),
        ),
    ]


def _left_out(names: tuple[str, ...]) -> Finding:
    return Finding(
        "not done",
        "warn",
        None,
        Says.plain(f"The cold treatment of {listed(names)} was not done, as was entered."),
        Says("Do it if it still can be, or test the hardness."),
        pieces=names,
    )


def _between_rounds(view: View) -> list[Finding]:
    """Cooling between tempers is judged on the piece: its marks or its own sensor, never on the furnace."""
    recipe = view.run.recipe
    if recipe.repeat < 2 or recipe.cool_below_c is None:
        return []
    found = []
    for cycle in range(1, recipe.repeat):
        before = [h for h in view.holds if h.cycle == cycle and h.found and h.leave_s is not None]
        after = [h for h in view.holds if h.cycle == cycle + 1 and h.found and h.enter_s is not None]
        if before and after:
            found += _one_cooling(view, before[-1].leave_s or 0.0, after[0].enter_s or 0.0, after[0].step)
    return found


def _one_cooling(view: View, left_s: float, next_s: float, step: int) -> list[Finding]:
    run, limit = view.run, view.run.recipe.cool_below_c or 0.0
    if run.loads:
        seen = [load.readings for load in run.loads if load.last_s >= next_s]
        parts = [trace.temp_c[slice(*trace.between(left_s, next_s))] for trace in seen]
        coldest = max((float(part.min(initial=np.inf)) for part in parts), default=np.inf)
        if coldest <= limit + max((trace.resolution_c for trace in seen), default=0.0) / 2.0:
            return []
        if seen:
            says = Says.of("the load sensor fell to {coldest} only", coldest=Temp(coldest))
            return [_too_warm(view, step, says, left_s)]
    # The furnace may have stayed hot: what counts is what was marked from the pull to the next load.
    pulls = [s.pull_s for s in run.stays if s.pull_s is not None and s.pull_s <= next_s]
    since_s = min([left_s, *pulls[-1:]])
    loads = [s.load_s + s.within_s("load") for s in run.stays if s.load_s is not None and since_s < s.load_s]
    until_s = max([next_s, *loads[:1]])
    warm = [s.hand_warm_s for s in run.stays if s.hand_warm_s is not None and since_s <= s.hand_warm_s <= until_s]
    loads = [at_s for at_s in loads if at_s <= until_s]
    if warm and loads and min(loads) < max(warm):
        says = Says(f"it was loaded {duration(max(warm) - min(loads))} before it was marked hand-warm")
        return [_too_warm(view, step, says, min(loads))]
    if warm:
        return []
    return [
        Finding(
            "not on record",
            "note",
            step,
            Says.of(
                "Whether the piece was below {limit} before the next round is not on record; "
                "the furnace's own temperature says nothing about it.",
                limit=Temp(limit),
            ),
            Says("Mark pull, hand-warm and load between the rounds."),
            at_s=left_s,
            until_s=next_s,
            brief=Says("whether the piece cooled between the rounds"),
        )
    ]


def _too_warm(view: View, step: int, says: Says, at_s: float) -> Finding:
    return Finding(
        "tempered before it was cool",
        "fail",
        step,
        Says.of(
            "The next round began before the piece was below {limit}: {says}.",
            limit=Temp(view.run.recipe.cool_below_c or 0.0),
            says=says,
        ),
        Says("Let it cool to hand-warm first; consider one more temper."),
        at_s=at_s,
        brief=says,
    )


def _recovery(view: View) -> list[Finding]:
    """A charge that went in while the furnace had not come back to its loading temperature."""
    run, at_c = view.run, view.run.recipe.load_at_c
    if at_c is None:
        return []
    found = []
    chamber = run.chamber.readings
    for load_s in sorted({s.load_s for s in run.stays if s.load_s is not None}):
        # The reading before the mark: the door is open at the mark itself.
        low, _ = chamber.between(load_s - 90.0, load_s)
        high = chamber.between(load_s, load_s)[1]
        before = chamber.temp_c[low : max(high, low + 1)]
        if before.size and float(before.max()) < at_c - RECOVERY_C:
            found.append(
                Finding(
                    "loaded before recovery",
                    "warn",
                    None,
                    Says.of(
                        "At the load mark the furnace was at {was}, {short} below the {asked} it is loaded at.",
                        was=Temp(float(before.max())),
                        short=Diff(at_c - float(before.max())),
                        asked=Temp(at_c),
                    ),
                    Says("Wait until the furnace has come back before the next charge goes in."),
                    at_s=load_s,
                )
            )
    return found


def unmarked_load(run: GatheredRun) -> bool:
    """Whether the recipe loads into the hot furnace and nobody marked when."""
    return run.recipe.load == "hot" and all(s.load_s is None for s in run.stays)


def _unmarked_load(view: View) -> list[Finding]:
    run = view.run
    if not unmarked_load(run):
        return []
    dips = loading_dips(run)
    told = joined([Says.of("{at} ({down} down)", at=moment(t), down=Diff(d)) for t, d in dips[:6]], ", ")
    return [
        Finding(
            "not on record",
            "warn",
            None,
            Says.of(
                "The recipe loads into the hot furnace and there is no load mark, so no soak is proven. "
                "Dips that may be the loading: {listed}.",
                listed=told if dips else "none stands out",
            ),
            Says("Enter the load mark afterwards: soakwitness mark load."),
            at_s=dips[0][0] if dips else None,
            brief=Says("when it was loaded"),
        )
    ]


def loading_dips(run: GatheredRun) -> tuple[tuple[float, float], ...]:
    """Dips of the chamber that may be a door opening for the loading: when each began [s] and how deep it was [K].

    In order of time, while the furnace was near its loading temperature or above.
    """
    trace, at_c = run.chamber.readings, run.recipe.load_at_c or 0.0
    blocks = block_medians(trace.t_s, trace.temp_c, trace.period_s)
    back = np.maximum(np.searchsorted(blocks.t_s, blocks.t_s - DOOR_WITHIN_S), 0)
    drop = blocks.temp_c[back] - blocks.temp_c
    ahead = np.minimum(np.searchsorted(blocks.t_s, blocks.t_s + 900.0), blocks.t_s.size - 1)
    comes_back = blocks.temp_c[ahead] > blocks.temp_c + 0.3 * drop
    hit = np.flatnonzero((drop > DOOR_DROP_C) & comes_back & (blocks.temp_c[back] > at_c - 5.0 * RECOVERY_C))
    found: list[tuple[float, float]] = []
    for dip in np.split(hit, np.flatnonzero(np.diff(blocks.t_s[hit]) > 2 * DOOR_WITHIN_S) + 1) if hit.size else []:
        deepest = dip[int(np.argmax(drop[dip]))]
        before = slice(back[dip[0]], dip[0] + 1)
        level = blocks.temp_c[back[dip[0]]] - 0.2 * drop[deepest]
        begin = before.start + int(np.flatnonzero(blocks.temp_c[before] >= level)[-1])
        found.append((float(blocks.t_s[begin]), float(drop[deepest])))
    return tuple(found)
