"""Findings on what people did: late quench, tempered before it was cool, loaded before recovery, marks missing."""

from __future__ import annotations

import numpy as np

from soakwitness.analysis.verification.assignment import block_medians
from soakwitness.analysis.verification.findings.view import View, duration, range_words
from soakwitness.analysis.verification.model import Finding
from soakwitness.analysis.verification.pieces import Stay
from soakwitness.analysis.verification.quenching import cooling_time
from soakwitness.analysis.verification.scene import Scene

DOOR_DROP_C = 8.0
DOOR_WITHIN_S = 120.0
RECOVERY_C = 10.0


def find(view: View) -> list[Finding]:
    """All findings of this topic.

    Parameters
    ----------
    view : View
        The verification.

    Returns
    -------
    list of Finding
        In the order of the codes above.
    """
    return [
        *_quench(view),
        *_cooling(view),
        *_order(view),
        *_between_rounds(view),
        *_recovery(view),
        *_unmarked_load(view),
    ]


def _name(stay: Stay) -> str:
    return stay.piece or stay.charge or "the charge"


def _quench(view: View) -> list[Finding]:
    quench = view.scene.recipe.quench
    if quench is None or quench.within_s is None:
        return []
    found = []
    for stay in view.scene.stays:
        if stay.pull_s is not None and stay.plates_s is not None:
            delay = stay.plates_s - stay.pull_s
            if delay > quench.within_s:
                found.append(
                    Finding(
                        "late quench",
                        "fail",
                        None,
                        f"{_name(stay)} took {duration(delay)} from the pull to the {quench.medium}; "
                        f"{duration(quench.within_s)} are allowed.",
                        "Check its hardness before it goes on; bring the quench nearer to the furnace.",
                        at_s=stay.pull_s,
                        until_s=stay.plates_s,
                        pieces=(stay.piece,) if stay.piece else (),
                    )
                )
    open_ = [s for s in view.scene.stays if s.pull_s is None or s.plates_s is None]
    if open_ and view.scene.recipe.repeat == 1:
        names = ", ".join(sorted({_name(s) for s in open_}))
        found.append(
            Finding(
                "not on record",
                "note",
                None,
                f"The quench of {names} is not on record: it takes a pull mark and a {quench.medium} mark.",
                "Mark the pull and the plates: soakwitness mark pull, soakwitness mark plates.",
            )
        )
    return found


def _cooling(view: View) -> list[Finding]:
    """Cooling time of a load sensor that rides through the quench."""
    quench = view.scene.recipe.quench
    if quench is None or quench.cool_from_c is None or quench.cool_to_c is None or quench.cool_within_s is None:
        return []
    span = f"from {view.temp(quench.cool_from_c)} to {view.temp(quench.cool_to_c)}"
    took = cooling_time(view.scene)
    if took is None:
        return [
            Finding(
                "not on record",
                "note",
                None,
                f"The cooling {span} is not on record: it takes a load sensor that rides through the quench.",
                "Let the load sensor go with the piece into the quench once.",
            )
        ]
    if took.best <= quench.cool_within_s:
        return []
    return [
        Finding(
            "late quench",
            "fail" if took.low > quench.cool_within_s else "warn",
            None,
            f"The load sensor took {range_words(took)} {span}; {duration(quench.cool_within_s)} are allowed.",
            "Check the hardness; press the plates closer, or use a faster quench.",
        )
    ]


def _order(view: View) -> list[Finding]:
    """What the recipe's order names and no furnace run can show."""
    order = view.scene.recipe.order
    if "cold treatment" not in order:
        return []
    return [
        Finding(
            "not on record",
            "note",
            None,
            f"The recipe's order is {', '.join(order)}; a furnace run shows no cold treatment.",
            "Enter it with the piece: soakwitness piece treatment.",
        )
    ]


def _between_rounds(view: View) -> list[Finding]:
    """Cooling between tempers is judged on the piece: its marks or its own sensor, never on the furnace."""
    recipe = view.scene.recipe
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
    scene, limit = view.scene, view.scene.recipe.cool_below_c or 0.0
    if scene.source == "load" and scene.edges_on is not scene.chamber:
        low, high = scene.edges_on.between(left_s, next_s)
        coldest = float(scene.edges_on.temp_c[low:high].min(initial=np.inf))
        if coldest <= limit + scene.edges_on.resolution_c / 2.0:
            return []
        if scene.lost_s is None or scene.lost_s >= next_s:
            return [_too_warm(view, step, f"the load sensor fell to {view.temp(coldest)} only", left_s)]
    warm = [s.hand_warm_s for s in scene.stays if s.hand_warm_s is not None and left_s <= s.hand_warm_s <= next_s]
    loads = [s.load_s for s in scene.stays if s.load_s is not None and left_s <= s.load_s <= next_s]
    if warm and loads and min(loads) < max(warm):
        return [
            _too_warm(
                view,
                step,
                f"it was loaded {duration(max(warm) - min(loads))} before it was marked hand-warm",
                min(loads),
            )
        ]
    if warm:
        return []
    return [
        Finding(
            "not on record",
            "note",
            step,
            f"Whether the piece was below {view.temp(limit)} before the next round is not on record; "
            "the furnace's own temperature says nothing about it.",
            "Mark pull, hand-warm and load between the rounds.",
            at_s=left_s,
            until_s=next_s,
        )
    ]


def _too_warm(view: View, step: int, says: str, at_s: float) -> Finding:
    return Finding(
        "tempered before it was cool",
        "fail",
        step,
        f"The next round began before the piece was below {view.temp(view.scene.recipe.cool_below_c or 0.0)}: {says}.",
        "Let it cool to hand-warm first; consider one more temper.",
        at_s=at_s,
    )


def _recovery(view: View) -> list[Finding]:
    """A charge that went in while the furnace had not come back to its loading temperature."""
    scene, at_c = view.scene, view.scene.recipe.load_at_c
    if at_c is None:
        return []
    found = []
    for load_s in sorted({s.load_s for s in scene.stays if s.load_s is not None}):
        # The reading before the mark: the door is open at the mark itself.
        low, _ = scene.chamber.between(load_s - 90.0, load_s)
        high = scene.chamber.between(load_s, load_s)[1]
        before = scene.chamber.temp_c[low : max(high, low + 1)]
        if before.size and float(before.max()) < at_c - RECOVERY_C:
            found.append(
                Finding(
                    "loaded before recovery",
                    "warn",
                    None,
                    f"At the load mark the furnace was at {view.temp(float(before.max()))}, "
                    f"{view.diff(at_c - float(before.max()))} below the {view.temp(at_c)} it is loaded at.",
                    "Wait until the furnace has come back before the next charge goes in.",
                    at_s=load_s,
                )
            )
    return found


def _unmarked_load(view: View) -> list[Finding]:
    scene = view.scene
    if scene.recipe.load != "hot" or any(s.load_s is not None for s in scene.stays):
        return []
    dips = loading_dips(scene)
    listed = ", ".join(f"{duration(t)} ({view.diff(d)} down)" for t, d in dips[:6]) or "none stands out"
    return [
        Finding(
            "not on record",
            "warn",
            None,
            f"The recipe loads into the hot furnace and there is no load mark, so no soak is proven. "
            f"Dips that may be the loading: {listed}.",
            "Enter the load mark afterwards: soakwitness mark load.",
            at_s=dips[0][0] if dips else None,
        )
    ]


def loading_dips(scene: Scene) -> tuple[tuple[float, float], ...]:
    """Dips of the chamber that may be a door opening for the loading.

    Parameters
    ----------
    scene : Scene
        The verification.

    Returns
    -------
    tuple
        When each began [s] and how deep it was [K], in order of time, while the furnace was near its loading
        temperature or above.
    """
    trace, at_c = scene.chamber, scene.recipe.load_at_c or 0.0
    blocks = block_medians(trace.t_s, trace.temp_c, trace.period_s)
    back = np.maximum(np.searchsorted(blocks.t_s, blocks.t_s - DOOR_WITHIN_S), 0)
    drop = blocks.temp_c[back] - blocks.temp_c
    ahead = np.minimum(np.searchsorted(blocks.t_s, blocks.t_s + 900.0), blocks.t_s.size - 1)
    comes_back = blocks.temp_c[ahead] > blocks.temp_c + 0.3 * drop
    hit = np.flatnonzero((drop > DOOR_DROP_C) & comes_back & (blocks.temp_c[back] > at_c - 5.0 * RECOVERY_C))
    found: list[tuple[float, float]] = []
    for run in np.split(hit, np.flatnonzero(np.diff(blocks.t_s[hit]) > 2 * DOOR_WITHIN_S) + 1) if hit.size else []:
        deepest = run[int(np.argmax(drop[run]))]
        before = slice(back[run[0]], run[0] + 1)
        level = blocks.temp_c[back[run[0]]] - 0.2 * drop[deepest]
        begin = before.start + int(np.flatnonzero(blocks.temp_c[before] >= level)[-1])
        found.append((float(blocks.t_s[begin]), float(drop[deepest])))
    return tuple(found)
