"""Marks that a dip tells of: what is offered, and what such a mark may decide. Traces of straight lines, by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.recipes.recipe import Hold, PacketSpec, Quench, Recipe
from soakwitness.analysis.verification.inferring import inferred_marks
from soakwitness.analysis.verification.results.report import as_json
from soakwitness.analysis.verification.results.verification import PieceInfo, Verification
from soakwitness.analysis.verification.verifying import verify
from soakwitness.cli.words.figures import quench_words
from soakwitness.cli.words.inferred_words import brief_question, inferred_lines
from soakwitness.firmware_bridge.runfolder.contents import Act, Mark
from tests.verification_runs import make_run

HOLD = Hold(1, 1050.0, 6.0, 6.0, 900.0, dip_s=120.0)
HOT = Recipe("hot", "C", (HOLD,), load="hot", load_at_c=1050.0, quench=Quench(within_s=30.0))
Corners = Sequence[tuple[float, float]]
STAYS_ON: Corners = ((0, 1050), (3000, 1050), (3600, 300))
CHARGE = (PieceInfo("B-1", charge="charge 1"), PieceInfo("B-2", charge="charge 1"), PieceInfo("B-3", charge="charge 1"))


def mark(t_s: float, act: Act, *pieces: str, inferred: bool = False, **more: object) -> Mark:
    said = Mark(t_s, act, pieces, mark_id=f"{act}{t_s:g}", **more)  # type: ignore[arg-type]
    return replace(said, origin="inferred", within_s=10.0, entered_later=True) if inferred else said


def trace(corners: Corners, *, every_s: float = 5.0) -> tuple[np.ndarray, np.ndarray]:  # type: ignore[type-arg]
    times, temps = zip(*corners, strict=True)
    t = np.arange(0.0, times[-1] + 1e-9, every_s)
    return t, np.interp(t, times, temps)


def judged(recipe: Recipe, corners: Corners, *marks: Mark) -> Verification:
    t, temp = trace(corners)
    return verify(make_run(t, {"furnace": temp}, marks=marks), recipe)


def soak(found: Verification) -> tuple[float, float, float]:
    bounds = found.holds[0].soak_s
    assert bounds is not None
    return bounds.low, bounds.best, bounds.high


# What such a mark decides

LOAD = mark(60, "load", "A")


def test_an_inferred_pull_shortens_what_is_sure_and_ends_no_soak() -> None:
    found = judged(HOT, STAYS_ON, LOAD, mark(965, "pull", "A", inferred=True))
    low, best, high = soak(found)
    assert (low, best) == (pytest.approx(895.0), pytest.approx(905.0))  # 965 - 60, ten seconds less to be sure
    assert high > 2900.0  # it may have stayed
    assert found.verdict == "not proven"
    # The same, pressed by somebody: 905 of 900 s are enough.
    assert judged(HOT, STAYS_ON, LOAD, mark(965, "pull", "A")).verdict == "pass"
    # Ten seconds more and it is enough either way.
    assert judged(HOT, STAYS_ON, LOAD, mark(975, "pull", "A", inferred=True)).verdict == "pass"


def test_an_inferred_pull_alone_fails_nobody() -> None:
    assert judged(HOT, STAYS_ON, LOAD, mark(800, "pull", "A")).verdict == "fail"
    assert judged(HOT, STAYS_ON, LOAD, mark(800, "pull", "A", inferred=True)).verdict == "not proven"
    told = judged(HOT, STAYS_ON, LOAD, mark(800, "pull", "A", inferred=True))
    (short,) = [one for one in told.findings if one.code == "short soak"]
    assert short.next.text("C").startswith("Ask who was there")
    assert any("inferred ones only bound the soak" in says.text("C") for says in told.holds[0].proves)
    # Its look-alike: the furnace itself went cold then.
    gone_cold = ((0, 1050), (805, 1050), (1400, 300), (3600, 100))
    assert judged(HOT, gone_cold, LOAD, mark(800, "pull", "A", inferred=True)).verdict == "fail"


def test_an_inferred_load_may_have_been_earlier_or_later() -> None:
    load = mark(60, "load", "A", inferred=True)
    found = judged(HOT, STAYS_ON, load, mark(965, "pull", "A"))
    assert soak(found) == (pytest.approx(895.0), pytest.approx(905.0), pytest.approx(915.0))
    assert found.verdict == "not proven"
    assert judged(HOT, STAYS_ON, load, mark(975, "pull", "A")).verdict == "pass"
    assert judged(HOT, STAYS_ON, load, mark(945, "pull", "A")).verdict == "fail"  # 895 s at the most
    assert judged(HOT, STAYS_ON, load, mark(955, "pull", "A")).verdict == "not proven"  # 905 s at the most


@pytest.mark.parametrize(
    ("pull_s", "inferred", "verdict"),
    [(1545, True, "pass"), (1565, False, "fail"), (1565, True, "not proven"), (1575, True, "fail")],
)
def test_a_longest_soak_is_judged_by_the_bounds(pull_s: float, inferred: bool, verdict: str) -> None:
    """At most 1500 s from the load at 60 s: until 1560, ten seconds either way; one that stayed was in longer still."""
    at_most = replace(HOT, steps=(replace(HOLD, at_most_s=1500.0),))
    assert judged(at_most, STAYS_ON, LOAD, mark(pull_s, "pull", "A", inferred=inferred)).verdict == verdict


def test_under_an_estimate_too() -> None:
    packed = replace(HOT, packet=PacketSpec())
    pull = mark(2500, "pull", "A")
    seen, inferred = (judged(packed, STAYS_ON, replace(LOAD, **more), pull) for more in ({}, {"origin": "inferred"}))
    low, best, high = soak(seen)
    assert soak(inferred) == (pytest.approx(low - 10.0), pytest.approx(best), pytest.approx(high + 10.0))


@pytest.mark.parametrize("which", ["pull", "plates"])
def test_no_quench_is_proven_or_failed_by_it(which: str) -> None:
    def codes(*, inferred: bool) -> dict[str, str]:
        pull = mark(1000, "pull", "A", inferred=inferred and which == "pull")
        plates = mark(1200, "plates", "A", inferred=inferred and which == "plates")
        found = judged(HOT, STAYS_ON, LOAD, pull, plates)
        return {one.code: one.says.text("C") for one in found.findings}

    assert "late quench" in codes(inferred=False)
    told = codes(inferred=True)
    assert "late quench" not in told
    assert "The time to the quench of A is not proven" in told["not on record"]
    assert "± 10 s" in told["not on record"]


def test_a_quench_that_looks_quick_is_not_proven_by_it_either() -> None:
    pull, plates = mark(1000, "pull", "A", inferred=True), mark(1010, "plates", "A")
    found = judged(HOT, STAYS_ON, LOAD, pull, plates)
    assert any("is not proven" in one.says.text("C") for one in found.findings)
    assert found.holds[0].pieces[0].quench_delay_s is None
    (piece,) = as_json(found)["steps"][0]["pieces"]
    assert piece["inferred_within_s"] == {"pull": 10.0}
    seen = judged(HOT, STAYS_ON, LOAD, replace(pull, origin="key"), plates)
    assert "inferred_within_s" not in as_json(seen)["steps"][0]["pieces"][0]


# What is offered


def dips(*at_s: float, deep_c: float = 30.0, end: Corners = ((3000, 1050), (9000, 300))) -> Corners:
    """A door each time: down within 15 s, most of it back within another 30 s."""
    corners: list[tuple[float, float]] = [(0, 1050)]
    for at in at_s:
        corners += [(at, 1050), (at + 15, 1050 - deep_c), (at + 45, 1048), (at + 90, 1050)]
    return [*corners, *end]


def offered(corners: Corners, *marks: Mark, pieces: Sequence[PieceInfo] = CHARGE, recipe: Recipe = HOT) -> list[object]:
    t, temp = trace(corners)
    found = inferred_marks(make_run(t, {"furnace": temp}, marks=marks), recipe, pieces)
    return [(one.act, one.piece, one.opening.at_s) for one in found.offered]


def test_as_many_dips_as_pieces_are_offered_in_their_order() -> None:
    shut = mark(60, "load")
    assert offered(dips(1000, 1100, 1200), shut) == [
        ("pull", "B-1", 1000.0),
        ("pull", "B-2", 1100.0),
        ("pull", "B-3", 1200.0),
    ]
    # One that was marked explains its own dip.
    assert offered(dips(1000, 1100, 1200), shut, mark(1106, "pull", "B-1")) == [
        ("pull", "B-2", 1000.0),
        ("pull", "B-3", 1200.0),
    ]
    # So does a door that somebody marked; a contact only says that it was open.
    door = mark(1105, "door")
    assert offered(dips(1000, 1100, 1200), shut, door) == []
    contact = replace(door, origin="contact")
    assert len(offered(dips(1000, 1100, 1200), shut, contact)) == 3


def test_the_load_into_a_hot_furnace_is_the_first_of_them() -> None:
    assert offered(dips(300, 1400, 1500, 1600)) == [
        ("load", None, 300.0),
        ("pull", "B-1", 1400.0),
        ("pull", "B-2", 1500.0),
        ("pull", "B-3", 1600.0),
    ]


def test_nobody_guesses_where_the_counts_differ() -> None:
    t, temp = trace(dips(1000, 1100))
    found = inferred_marks(make_run(t, {"furnace": temp}, marks=(mark(60, "load"),)), HOT, CHARGE)
    assert (len(found.seen), found.offered) == (2, ())
    assert "2 dips for 3 acts" in found.why
    unnamed = inferred_marks(make_run(t, {"furnace": temp}, marks=(mark(60, "load"),)), HOT)
    assert "nobody named the pieces" in unnamed.why
    assert "Nothing is offered" in inferred_lines(unnamed, "RUN", "C")[-1]


def test_what_is_no_door_is_no_dip() -> None:
    shut = mark(60, "load")
    one = CHARGE[:1]
    assert offered(dips(1000), shut, pieces=one) == [("pull", "B-1", 1000.0)]
    # As slow as a power cut, too shallow, or never back: the furnace was switched off.
    slow = ((0, 1050), (1000, 1050), (1300, 1020), (1500, 1050), (3000, 1050), (9000, 300))
    assert offered(slow, shut, pieces=one) == []
    assert offered(dips(1000, deep_c=6.0), shut, pieces=one) == []
    assert offered(((0, 1050), (1000, 1050), (1100, 950), (3600, 300)), shut, pieces=one) == []


def test_all_marked_leaves_nothing_to_ask() -> None:
    pulls = [mark(1000 + 100 * n, "pull", f"B-{n + 1}") for n in range(3)]
    assert offered(dips(1000, 1100, 1200), mark(60, "load"), *pulls) == []


def test_a_temper_comes_out_together() -> None:
    temper = replace(HOT, steps=(replace(HOLD, target_c=200.0),), load_at_c=200.0, quench=None)
    low = [(t_s, temp_c - 850.0) for t_s, temp_c in dips(1000, end=((3000, 1050), (9000, 900)))]
    assert offered(low, mark(60, "load"), recipe=temper) == [("pull", None, 1000.0)]


def test_in_words() -> None:
    t, temp = trace(dips(1000, 1100, 1200))
    found = inferred_marks(make_run(t, {"furnace": temp}, marks=(mark(60, "load"),)), HOT, CHARGE)
    assert inferred_lines(found, "RUN", "C") == [
        "3 door dips seen in RUN that no mark explains:",
        "  0:16:40  30 °C down  pull of B-1?",
        "  0:18:20  30 °C down  pull of B-2?",
        "  0:20:00  30 °C down  pull of B-3?",
        "Were these the pulls of B-1, B-2 and B-3, in the order of the rack? They are kept as inferred, ± 10 s: they "
        "end no soak alone and prove no quench. Then: soakwitness mark --inferred RUN --confirm",
    ]
    assert brief_question(found, "RUN") == [
        "3 door dips without a mark: Were these the pulls of B-1, B-2 and B-3, in the order of the rack? Look: "
        "soakwitness mark --inferred RUN"
    ]
    assert brief_question(replace(found, offered=()), "RUN") == []


def test_the_sheet_says_why_the_time_to_the_quench_is_not_known() -> None:
    def words(*marks: Mark) -> str:
        return quench_words(judged(HOT, STAYS_ON, LOAD, *marks).holds[0].pieces[0])

    plates = mark(1010, "plates", "A")
    assert words(mark(1000, "pull", "A"), plates) == "10 s"
    assert words(mark(1000, "pull", "A", inferred=True), plates) == "not proven: inferred"
    assert words(mark(1000, "pull", "A", inferred=True)) == "not on record"


def test_places_with_numbers_are_an_order_without_a_rack_too() -> None:
    numbered = tuple(replace(piece, place=f"slot {3 - n}") for n, piece in enumerate(CHARGE))
    pulls = offered(dips(1000, 1100, 1200), mark(60, "load"), pieces=numbered)
    assert [piece for _, piece, _ in pulls] == ["B-3", "B-2", "B-1"]  # type: ignore[misc]
