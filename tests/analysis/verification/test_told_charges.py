"""What is told of loading, pulling, cooling and order: every sentence with its numbers, and where it stands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from soakwitness.analysis.recipes.recipe import Recipe
from soakwitness.analysis.recipes.recipe_file import parse_recipe
from soakwitness.analysis.verification.results.verification import Finding, PieceInfo, Verification
from soakwitness.analysis.verification.verifying import verify
from soakwitness.firmware_bridge.runfolder.contents import Act, Mark
from tests.verification_runs import drawn, make_run, sensor, simple_recipe

# Up at 0.5 K/s to 1000, 20 min there, down at 0.5 K/s.
UP, DOWN = [(0.0, 20.0), (1960.0, 1000.0)], [(3160.0, 1000.0), (5000.0, 80.0)]
HOT = replace(simple_recipe((1000, 10, 5)), load="hot", load_at_c=1000.0)
TEMPERS = parse_recipe(
    'name = "t"\nrepeat = 2\ncool_below = 50\n[[step]]\nramp = "full power"\nto = 200\n'
    "[[step]]\nhold_minutes = 60\ntolerance = 8\n"
)
# Out of 200 +-8 downwards at 5000 + 8 x 80 = 5640 s, in again at 9000 + 42/50 x 500 = 9420 s.
TWICE = [(0, 20), (1000, 200), (5000, 200), (9000, 150), (9500, 200), (13500, 200), (19000, 60)]


def mark(t_s: float, act: Act, *pieces: str) -> Mark:
    return Mark(t_s, act, pieces)


def checked(
    corners: Sequence[tuple[float, float]],
    recipe: Recipe,
    *marks: Mark,
    pieces: tuple[PieceInfo, ...] = (),
    **loads: Sequence[tuple[float, float]],
) -> Verification:
    t_s, temp_c = drawn(corners)
    columns, values = [sensor(expanded_uncertainty=0.1)], {"furnace": temp_c}
    for name, course in loads.items():
        columns.append(sensor(name, "load", expanded_uncertainty=0.1))
        values[name] = np.round(np.interp(t_s, *np.transpose(course)), 1)
    return verify(make_run(t_s, values, columns=columns, marks=marks), recipe, pieces=pieces)


def only(found: Verification, code: str) -> Finding:
    (one,) = [f for f in found.findings if f.code == code]
    return one


def codes(found: Verification) -> set[str]:
    return {f.code for f in found.findings}


@pytest.mark.parametrize(
    ("load_s", "was"),
    # 0.5 K/s: 985 at 1930 s; 990, which is near enough, at 1940 s.
    [(1930.0, "985 °C, 15 °C below"), (1938.0, "989 °C, 11 °C below"), (1940.0, None)],
)
def test_loaded_before_recovery(load_s: float, was: str | None) -> None:
    found = checked([*UP, *DOWN], HOT, mark(load_s, "load", "A"))
    if was is None:
        assert "loaded before recovery" not in codes(found)
    else:
        told = only(found, "loaded before recovery")
        assert (told.severity, told.at_s) == ("warn", load_s)
        assert f"At the load mark the furnace was at {was} the 1000 °C it is loaded at." in str(told.says)


def test_a_door_that_was_open_before_the_mark_is_no_lack_of_recovery() -> None:
    # Open for a minute when the mark is made: what counts is how hot it was in the minute and a half before.
    opened = [*UP, (2400, 1000), (2440, 900), (2460, 900), (2600, 1000), *DOWN]
    assert "loaded before recovery" not in codes(checked(opened, HOT, mark(2460, "load", "A")))
    # Two minutes of it are no door.
    long = [*UP, (2400, 1000), (2440, 900), (2560, 900), (2700, 1000), *DOWN]
    assert "100 °C below" in str(only(checked(long, HOT, mark(2560, "load", "A")), "loaded before recovery").says)


def test_each_load_is_looked_at_once() -> None:
    marks = (mark(1900, "load", "A", "B"), mark(2900, "pull", "A", "B"), mark(3170, "load", "C"))
    told = [f.at_s for f in checked([*UP, *DOWN], HOT, *marks).findings if f.code == "loaded before recovery"]
    assert told == [1900]


def test_without_a_load_mark_the_dips_are_listed() -> None:
    # 50 K in 20 s; back after 100 s. A dip of 7 K, and one before the furnace was there, are none.
    course = [*UP, (2200, 1000), (2220, 950), (2320, 1000), (2500, 1000), (2520, 993), (2560, 1000), *DOWN]
    told = only(checked(course, HOT), "not on record")
    assert told.severity == "warn"
    assert told.at_s == pytest.approx(2200.0, abs=10.0)
    # Of blocks of ten seconds the lowest is the mean of 950 to 954.5 or so.
    assert "Dips that may be the loading: 0:36:" in str(told.says)
    assert "(47.8 °C down)." in str(told.says)
    none = only(checked([*UP, *DOWN], HOT), "not on record")
    assert "Dips that may be the loading: none stands out." in str(none.says)
    assert none.at_s is None
    long = [(4160.0, 1000.0), (6000.0, 80.0)]
    two = [*UP, (2200, 1000), (2220, 950), (2320, 1000), (2700, 1000), (2720, 970), (2800, 1000), *long]
    assert str(only(checked(two, HOT), "not on record").says).count("down)") == 2
    assert only(checked(two, HOT), "not on record").at_s == told.at_s
    # A fall that does not come back is no door.
    assert "none stands out" in str(
        only(checked([*UP, (3160, 1000), (3180, 950), (5000, 80)], HOT), "not on record").says
    )


def test_what_was_loaded_cold_needs_no_mark() -> None:
    cold = replace(HOT, load="cold", load_at_c=None)
    assert "not on record" not in codes(checked([*UP, *DOWN], cold))
    assert "not on record" not in codes(checked([*UP, *DOWN], HOT, mark(2000, "load", "A")))


def test_a_quench_that_is_not_on_record_names_the_pieces() -> None:
    text = (
        'name = "q"\n[[step]]\nramp = "full power"\nto = 1000\n[[step]]\nhold_minutes = 10\ntolerance = 5\n[quench]\n'
    )
    oil = parse_recipe(text + 'medium = "oil"\nwithin_s = 30\n')
    marks = (
        mark(0, "load", "B", "A", "C"),
        mark(2900, "pull", "C"),
        mark(2945, "plates", "C"),
        mark(2950, "pull", "B"),
    )
    found = checked([*UP, *DOWN], oil, *marks)
    late = only(found, "late quench")
    assert (late.severity, late.at_s, late.until_s, late.pieces) == ("fail", 2900, 2945, ("C",))
    assert str(late.says) == "C took 45 s from the pull to the oil; 30 s are allowed."
    missing = only(found, "not on record")
    assert missing.severity == "note"
    assert str(missing.says) == "The quench of A, B is not on record: it takes a pull mark and a plates mark."
    # Without a limit nothing is asked of it.
    assert "not on record" not in codes(checked([*UP, *DOWN], parse_recipe(text + 'medium = "oil"\n'), *marks))


def test_between_two_rounds_the_piece_counts_not_the_furnace() -> None:
    told = only(checked(TWICE, TEMPERS), "not on record")
    assert (told.severity, told.step) == ("note", 4)
    assert (told.at_s, told.until_s) == (pytest.approx(5640.0, abs=5.0), pytest.approx(9420.0, abs=1.0))
    assert "Whether the piece was below 50 °C before the next round is not on record" in str(told.says)


@pytest.mark.parametrize(
    ("warm_s", "load_s", "fails"), [(8000.0, 9100.0, False), (9100.0, 9100.0, False), (9400.0, 9100.0, True)]
)
def test_a_hand_warm_mark_after_the_load_mark_is_too_late(warm_s: float, load_s: float, fails: bool) -> None:
    marks = (mark(0, "load", "A"), mark(5100, "pull", "A"), mark(load_s, "load", "A"), mark(warm_s, "hand-warm", "A"))
    found = checked(TWICE, TEMPERS, *marks)
    assert found.verdict == ("fail" if fails else "pass")
    if fails:
        early = only(found, "tempered before it was cool")
        assert (early.severity, early.step, early.at_s) == ("fail", 4, load_s)
        assert str(early.says) == (
            "The next round began before the piece was below 50 °C: it was loaded 5 min before it was marked hand-warm."
        )


@pytest.mark.parametrize(("coldest_c", "fails"), [(49.9, False), (50.0, False), (50.1, True), (90.0, True)])
def test_a_load_sensor_shows_how_cold_the_piece_got(coldest_c: float, fails: bool) -> None:
    ride = [*TWICE[:3], (6000, coldest_c), (8000, coldest_c), *TWICE[4:]]
    found = checked(TWICE, TEMPERS, piece=ride)
    assert ("tempered before it was cool" in codes(found)) is fails
    if fails:
        assert f"the load sensor fell to {coldest_c:g} °C only" in str(only(found, "tempered before it was cool").says)
    # Of two the warmer one counts.
    both = checked(TWICE, TEMPERS, piece=ride, other=[*TWICE[:3], (6000, 30), (8000, 30), *TWICE[4:]])
    assert ("tempered before it was cool" in codes(both)) is fails


def test_a_load_sensor_that_was_lost_between_the_rounds_shows_nothing() -> None:
    t_s, temp_c = drawn(TWICE)
    values = {"furnace": temp_c, "piece": np.where(t_s > 7000, np.nan, temp_c)}
    columns = [sensor(), sensor("piece", "load")]
    found = verify(make_run(t_s, values, columns=columns), TEMPERS)
    assert "tempered before it was cool" not in codes(found)
    assert any("before the next round is not on record" in str(f.says) for f in found.findings)


ORDERED = parse_recipe(
    'name = "o"\norder = ["harden", "cold treatment", "temper"]\n[[step]]\nramp = "full power"\nto = 1000\n'
    "[[step]]\nhold_minutes = 10\ntolerance = 5\n"
)


@pytest.mark.parametrize(
    ("treated", "asked"),
    [((), True), ((("cold treatment",),), False), ((("cold treatment",), ("temper",)), True), ((("temper",),), True)],
)
def test_a_cold_treatment_is_asked_for_until_it_was_entered_for_every_piece(
    treated: tuple[tuple[str, ...], ...], asked: bool
) -> None:
    pieces = tuple(PieceInfo(f"P-{n}", charge="charge 1", treated=kinds) for n, kinds in enumerate(treated))
    told = [str(f.says) for f in checked([*UP, *DOWN], ORDERED, pieces=pieces).findings if f.code == "not on record"]
    says = "The recipe's order is harden, cold treatment, temper; a furnace run shows no cold treatment."
    assert told == ([says] if asked else [])


def test_a_cold_treatment_left_out_is_told_as_not_done_and_not_as_unknown() -> None:
    pieces = tuple(PieceInfo(f"P-{n}", charge="charge 1", left_out=("cold treatment",)) for n in (1, 2))
    found = checked([*UP, *DOWN], ORDERED, pieces=pieces).findings
    assert [str(f.says) for f in found if f.code == "not done"] == [
        "The cold treatment of P-1 and P-2 was not done, as was entered."
    ]
    assert not any(f.code == "not on record" for f in found)


def test_a_mark_in_doubt_stands_where_it_was_made() -> None:
    doubt = only(checked([*UP, *DOWN], HOT, mark(2000, "load", "A"), mark(2900, "pull", "B")), "mark in doubt")
    assert (doubt.severity, doubt.at_s, doubt.pieces) == ("note", 2900, ("B",))
    assert str(doubt.says) == "The pull mark at 0:48:20 names B, which is not in the charge: A is in."
