"""Numbers as words: rounded once, one notation each."""

from __future__ import annotations

import pytest

from soakwitness.firmware_bridge.common import wording
from soakwitness.firmware_bridge.common.wording import Diff, PastLimit, Rate, Says, Temp


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0, "0 s"), (0.25, "0.25 s"), (0.5, "0.5 s"), (0.04, "0.04 s"), (0.003, "0 s"), (1.04, "1 s"), (9.96, "10 s"),
        (45, "45 s"), (60, "1 min"), (89.4, "89 s"), (89.6, "1.5 min"), (115, "1.9 min"), (119.6, "2 min"),
        (150, "2.5 min"), (684, "11.4 min"), (5396, "89.9 min"), (5398, "1 h 30 min"), (5502, "1 h 32 min"),
        (7200, "2 h"), (8335, "2 h 19 min"), (71.9 * 3600, "71 h 54 min"), (72 * 3600, "3 days"),
        (6372.98 * 3600, "265 days"),
        (-90, "-1.5 min"),
        (None, "not known"),
    ],
)  # fmt: skip
def test_durations_have_one_notation(seconds: float | None, words: str) -> None:
    assert wording.duration(seconds) == words


@pytest.mark.parametrize(
    ("missed", "in_c", "in_f"),
    [
        (PastLimit(Diff(6.03), Diff(6.0), over=True), "just over 6 °C", "10.9 °F"),  # 10.85 and 10.8 °F
        (PastLimit(Diff(6.2), Diff(6.0), over=True), "6.2 °C", "11.2 °F"),
        (PastLimit(Temp(991.97), Temp(992.0), over=False), "just under 992 °C", "1817.5 °F"),  # 1817.55 and 1817.6 °F
        (PastLimit(Rate(299.6), Rate(300.0), over=False), "just under 300 °C/h", "539 °F/h"),
    ],
)
def test_rounding_hides_no_limit_that_was_missed(missed: PastLimit, in_c: str, in_f: str) -> None:
    assert (missed.text("C"), missed.text("F")) == (in_c, in_f)


def test_rounding_hides_no_duration_that_was_too_long() -> None:
    assert wording.duration_past_limit(30.4, 30.0) == "just over 30 s"
    assert wording.duration_past_limit(30.6, 30.0) == "31 s"
    assert wording.duration_past_limit(1798.0, 1800.0) == "just under 30 min"


def test_numbers_have_at_most_one_decimal() -> None:
    assert [wording.number(v) for v in (780.0, 1065.55, -0.04, 0.0, -3.25)] == ["780", "1065.5", "0", "0", "-3.2"]


def test_counts_read_in_the_singular_and_the_plural() -> None:
    assert [wording.counted(n, "row") for n in (0, 1, 2)] == ["0 rows", "1 row", "2 rows"]
    assert [wording.often(n) for n in (1, 2)] == ["once", "twice"]


def test_shares_in_words() -> None:
    assert (wording.percent(0.618), wording.percent(0.12, signed=True)) == ("62 %", "+12 %")


def test_a_span_of_durations_names_the_unit_once() -> None:
    assert wording.duration_span(600, 684) == "10 to 11.4 min"
    assert wording.duration_span(45, 150) == "45 s to 2.5 min"
    assert wording.duration_span(7500, 8400) == "2 h 5 min to 2 h 20 min"
    assert wording.duration_span(60, 60.2) == "1 min"


def test_bounds_drop_the_unit_that_all_share() -> None:
    assert wording.duration_range(684, 664, 694) == "11.4 min (11.1 to 11.6)"
    assert wording.duration_range(115, 80, 150) == "1.9 min (80 s to 2.5 min)"
    assert wording.duration_range(7500, 7100, 7600) == "2 h 5 min (1 h 58 min to 2 h 7 min)"
    assert wording.duration_range(60, 60, 60) == "1 min"
    assert wording.duration_range(684, 664, float("inf")) == "11.4 min (11.1 min or longer)"
    assert wording.duration_range(684, 682, float("inf")) == "11.4 min (or longer)"


def test_moments_and_countdowns() -> None:
    assert wording.moment(5130) == "1:25:30"
    assert wording.moment(-60) == "-0:01:00"
    assert wording.countdown(380.9) == "6:20"
    assert wording.countdown(3980) == "1:06:20"
    assert [wording.countdown(t) for t in (-3, 0, 59.9, 61, 3661)] == ["0:00", "0:00", "0:59", "1:01", "1:01:01"]


def test_a_difference_is_never_plus_32() -> None:
    assert wording.temperature(1050, "F") == "1922 °F"  # 1.8 x 1050 + 32
    assert wording.difference(10, "F") == "18 °F"
    assert wording.difference(0.7, "C", signed=True) == "+0.7 °C"
    assert wording.difference(-0.04, "C", signed=True) == "+0 °C"
    assert wording.rate(400, "F") == "720 °F/h"
    rates = {
        1230.4: "1230 °C/h",
        0.5: "0.5 °C/h",
        9.96: "10 °C/h",
        10.04: "10 °C/h",
        15.4: "15 °C/h",
        -15.4: "-15 °C/h",
    }
    assert {v: wording.rate(v, "C") for v in rates} == rates
    assert wording.difference(0.35, "C", digits=3) == "0.35 °C"
    assert wording.temperature(1372.001, "C", digits=3) == "1372.001 °C"


def test_a_sentence_carries_its_values_to_the_edge() -> None:
    inner = Says.of("up to {most}", most=Diff(5.0))
    said = Says.of(
        "Stood at {level}, {inner}, at {pace}, {who}.", level=Temp(1040), inner=inner, pace=Rate(60), who="{A}"
    )
    assert str(said) == "Stood at 1040 °C, up to 5 °C, at 60 °C/h, {A}."
    assert said.text("F") == "Stood at 1904 °F, up to 9 °F, at 108 °F/h, {A}."
    assert str(Says.plain("braces {stay}")) == "braces {stay}"
    assert str(wording.joined([said, "End."])).endswith("{A}. End.")
    assert wording.saying("{A}") == Says.plain("{A}")
    assert wording.saying(said) is said


@pytest.mark.parametrize(
    ("count", "words"),
    [
        (0, ""),
        (1, "A"),
        (2, "A and B"),
        (3, "A, B and C"),
        (7, "A, B, C, D, E, F and G"),
        (8, "A, B, C, D, E, F and 2 more"),
    ],
)
def test_names_are_listed_as_people_do(count: int, words: str) -> None:
    assert wording.listed("ABCDEFGH"[:count]) == words
