"""Marks in a chart: a line each, a sign at each pull, and whose it was, so that the pull that failed is seen."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING, Any

from soakwitness.cli.charts import style
from soakwitness.cli.charts.flags import failed_of
from soakwitness.firmware_bridge.common.wording import listed
from soakwitness.firmware_bridge.runfolder.names import in_ranges

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from soakwitness.analysis.verification.results.verification import Verification
    from soakwitness.firmware_bridge.runfolder.contents import Mark

WORDS = {"load": "loaded", "pull": "pull", "plates": "plates", "hand-warm": "hand-warm", "door": "door"}
APART_IN = 0.095  # upright words need so much across: marks nearer than that share theirs
UPRIGHT_IN = 0.062  # mean length of a letter of a mark's words
WORDS_IN = 0.13  # how far upright words reach before their line
LINES: dict[str, tuple[float, tuple[float, ...]]] = {"pull": (0.8, (4.0, 2.0))}  # its width and dashes
FINE = (0.6, (1.0, 3.0))
SIGN: dict[str, Any] = {"marker": "v", "markersize": 5.0, "markeredgewidth": 0.8, "markeredgecolor": style.BLACK}
FULL = "#333333"  # not black, which an SVG leaves out as its own default: a dark page could not draw it light
MOST_NAMED = 3  # of more it is said how many they are
SIGN_IN = 0.05  # of a sign's middle under its line's upper end


def failed_pieces(verification: Verification) -> set[str]:
    """The pieces whose pull has its sign filled."""
    results = [(p.piece, p.verdict) for hold in verification.holds if hold.judged for p in hold.pieces if p.piece]
    return failed_of(results, verification.findings)


def draw_marks(
    ax: Axes,
    marks: Sequence[Mark],
    *,
    failed: Collection[str] = (),
    acts: Collection[str] = tuple(WORDS),
    top: float = 1.0,
    brief: bool = False,
) -> None:
    """Draw the marks of some acts that lie within the axes: a line each, a sign at each pull, words where they fit.

    Those too near to each other for words of their own share them; ``failed`` are pieces whose pull has its sign full;
    ``top``: how high the lines go, as a share of the axes; ``brief``: of a pull its sign and the name alone.
    """
    first, last = ax.get_xlim()
    some = [m for m in marks if not m.struck and m.act in WORDS and m.act in acts and first <= m.t_s <= last]
    some.sort(key=lambda m: m.t_s)
    for mark in some:
        width, dashes = LINES.get(mark.act, FINE)
        ax.axvline(mark.t_s, ymax=top, color="#444444", linewidth=width, linestyle=(0, dashes), zorder=1)
        if mark.act == "pull":
            face = FULL if set(mark.pieces) & set(failed) else "white"
            at = top - SIGN_IN / _height_in(ax)
            trans = ax.get_xaxis_transform()
            ax.plot([mark.t_s], [at], transform=trans, markerfacecolor=face, zorder=4, **SIGN)
    per_in = (last - first) / (ax.get_position().width * style.inches_of(ax)[0])
    pulled = {name for m in some if m.act == "pull" for name in m.pieces}
    after = [m for m in some if m.act == "plates" and pulled.issuperset(m.pieces)]  # told with their pulls
    for group in _groups([m for m in some if m not in after], APART_IN * per_in):
        _write(ax, group, after, brief=brief)


def _height_in(ax: Axes) -> float:
    return ax.get_position().height * style.inches_of(ax)[1]


def pull_lines(ax: Axes, marks: Sequence[Mark], first_s: float, last_s: float) -> None:
    """Carry the lines of the pulls between two times [s] on through the bars below a panel."""
    width, dashes = LINES["pull"]
    for mark in marks:
        if mark.act == "pull" and not mark.struck and first_s <= mark.t_s <= last_s:
            ax.axvline(mark.t_s, color="#444444", linewidth=width, linestyle=(0, dashes), zorder=0.5)


def _groups(marks: Sequence[Mark], near_s: float) -> list[list[Mark]]:
    """Marks that share their words: each nearer than words are wide to the one before it, whose line they'd cover."""
    groups: list[list[Mark]] = []
    for mark in marks:
        if groups and mark.t_s - groups[-1][-1].t_s < near_s:
            groups[-1].append(mark)
        else:
            groups.append([mark])
    return groups


def _write(ax: Axes, group: Sequence[Mark], after: Sequence[Mark], *, brief: bool) -> None:
    """Write what a group of marks was, the longest that fits beside its line; nothing where nothing does."""
    names = list(dict.fromkeys(name for m in group for name in m.pieces))
    acts = list(dict.fromkeys(WORDS[m.act] for m in group))
    if "pull" in acts and any(set(m.pieces) & set(names) for m in after):
        acts.append(WORDS["plates"])
    what = "" if brief and acts == [WORDS["pull"]] and names else f"{' and '.join(acts)} "
    many = f"{len(names)} pieces" if len(names) > 1 else "".join(names)
    start, room = _free_room(ax, group[0].t_s)
    room_in = room * _height_in(ax)
    least = many if acts == [WORDS["pull"]] else acts[0]
    told = listed(names, most=3) if len(names) <= MOST_NAMED else f"{many}, {listed(_in_ranges(names), most=3)}"
    for words in (f"{what}{told}", f"{acts[0]} {told}", f"{acts[0]} {many}", least):
        if words.strip() and UPRIGHT_IN * len(words.strip()) <= room_in:
            write_upright(ax, group[0].t_s, words.strip(), start, on_white=True)
            return


def _in_ranges(names: Sequence[str]) -> list[str]:
    return [one.replace("..", " to ") for one in in_ranges(names)]


def write_upright(ax: Axes, t_s: float, words: str, start: float = 0.02, *, on_white: bool = False) -> None:
    """Write words upright beside the line at a time and inside the axes, from a share of their height upwards.

    ``on_white``: over the lines of other marks, where no curve runs.
    """
    first, last = ax.get_xlim()
    side = "left" if t_s < first + 0.02 * (last - first) else "right"
    beside_s = t_s + (0.003 if side == "left" else -0.003) * (last - first)
    white = {"facecolor": "white", "edgecolor": "none", "pad": 0.2, "alpha": 0.8} if on_white else None
    look: dict[str, Any] = {"rotation": 90, "ha": side, "va": "bottom", "fontsize": "small", "bbox": white}
    ax.text(beside_s, start, words, transform=ax.get_xaxis_transform(), **look)


def _free_room(ax: Axes, t_s: float) -> tuple[float, float]:
    """Where the widest room between the curves begins just before a time, and how high it is [shares of the axes].

    A curve takes what it goes through as far as upright words reach; the upper edge is left to the signs.
    """
    import numpy as np

    (first, last), (low, high) = ax.get_xlim(), ax.get_ylim()
    wide_s = WORDS_IN * (last - first) / (ax.get_position().width * style.inches_of(ax)[0])
    taken = [(low, low), (high - 2.0 * SIGN_IN / _height_in(ax) * (high - low), high)]
    for line in ax.get_lines():
        t, y = (np.asarray(values, dtype=float) for values in line.get_data())
        good = np.isfinite(y)
        at = np.linspace(t_s - wide_s, t_s - 0.1 * wide_s, 7)
        if t.size > 2 and good.any() and t[good][0] <= at[-1] and t[good][-1] >= at[0]:
            passed = np.clip(np.interp(at, t[good], y[good]), low, high)
            taken.append((float(passed.min()), float(passed.max())))
    start, rooms = low, []
    for begin, end in sorted(taken):
        rooms.append((begin - start, start))
        start = max(start, end)
    room, start = max(rooms)
    return (start - low) / (high - low) + 0.025, room / (high - low) - 0.05
