"""Runs without a seal: trouble and its look-alikes. Rows come once a minute (``waiting_days.EVERY_S``)."""

from __future__ import annotations

from soakwitness.analysis.waiting.waiting_recordings import RecorderTold
from soakwitness.firmware_bridge.common.wording import temperature
from tests.waiting_days import PLAIN, TWICE, Workshop

KINDS = ("recording", "hot")


def test_a_run_that_is_recorded_well_is_told_and_waits_for_nothing(shop: Workshop) -> None:
    run = shop.run(0, PLAIN, hours=1, goes_on=True)
    waiting = shop.waits(1.05)
    assert [act for act in waiting.acts if act.kind in KINDS] == []
    (told,) = waiting.recording
    assert (told.run, told.furnace, told.last_utc) == (run, "shed", "2026-03-02T08:01:00Z")


def test_a_recorder_that_writes_nothing_is_silent_after_three_periods(shop: Workshop) -> None:
    run = shop.run(0, PLAIN, hours=1, goes_on=True)  # the last row at 1:01:00
    assert shop.acts(1 + 4 / 60, *KINDS) == []
    (act,) = shop.acts(1 + 6 / 60, *KINDS)
    assert (act.kind, act.urgency, act.page) == ("recording", "at once", ("run", run))
    assert str(act.says) == "shed: its recorder runs, but has written nothing for 5 min."
    assert shop.acts(1 + 6 / 60, *KINDS, recorders={run: RecorderTold(last_utc="2026-03-02T08:05:59Z")}) == []


def test_a_lost_link_is_told_until_it_is_back(shop: Workshop) -> None:
    lost = [(1.0, "link lost", "no answer (last reading at 3600.000 s)")]
    shop.run(0, PLAIN, hours=1, goes_on=True, events=lost)
    assert shop.says(1.1, "recording") == ["shed: no link to the instrument for 5 min (no answer)."]
    shop.furnace = "kiln"
    shop.run(1.2, PLAIN, hours=0.5, goes_on=True, events=[*lost, (1.01, "link back", "gap 36 s")])
    assert [says for says in shop.says(1.72, "recording") if "kiln" in says] == []


def test_what_a_recorder_tells_itself_counts_before_its_files(shop: Workshop) -> None:
    run = shop.run(0, PLAIN, hours=1, goes_on=True)
    full = {run: RecorderTold(trouble="no space left", last_utc="2026-03-02T08:02:00Z")}
    assert shop.says(1.05, "recording", recorders=full) == ["shed: the record is not being written (no space left)."]
    lost = {run: RecorderTold(link_lost="no answer", last_utc="2026-03-02T08:02:00Z")}
    assert shop.says(1.05, "recording", recorders=lost) == ["shed: no link to the instrument for 1 min (no answer)."]


def test_a_run_cut_off_waits_with_its_last_reading(shop: Workshop) -> None:
    shop.run(0, PLAIN, temps=[20.0, 500.0, 1040.0], cut_off=True)
    (act,) = shop.acts(2 / 60 + 1, *KINDS)
    assert act.urgency == "at once"
    assert act.says.text("C") == (
        "shed: the recorder was cut off 60 min ago and nobody went on with the run, the last reading is 1040 °C."
    )
    assert temperature(1040.0, "F") == "1904 °F"  # 1040 x 1.8 + 32
    assert "1904 °F" in act.says.text("F")
    assert act.settle == "soakwitness record FURNACE.toml"
    assert shop.waits(1.1).recording == ()


def test_a_sealed_run_and_one_struck_out_were_not_cut_off(shop: Workshop) -> None:
    from soakwitness.analysis.logbook.striking import strike_run
    from tests.waiting_days import stamp

    shop.run(0, PLAIN)
    run = shop.run(3, PLAIN, cut_off=True)
    assert len(shop.acts(6, "recording")) == 1
    strike_run(shop.book, run, why="a trial", stamp=stamp(6))
    assert shop.acts(6, "recording") == []


def heating(*plan: tuple[float, float]) -> list[float]:
    """A row a minute: so many hours at each temperature."""
    return [temp_c for hours, temp_c in plan for _ in range(round(hours * 60))]


def test_a_hold_far_longer_than_the_recipe_s_is_told(shop: Workshop) -> None:
    """25 min are asked; half an hour is spare; here it is 0.9 h (54 min), then 1 h (60 min) at 1041."""
    shop.run(0, PLAIN, temps=heating((1, 500), (0.9, 1041)), goes_on=True)
    assert shop.acts(1.9, "hot") == []
    shop.furnace = "kiln"
    run = shop.run(0, PLAIN, temps=heating((1, 500), (1, 1041)), goes_on=True)
    (act,) = shop.acts(2.0, "hot")
    assert act.says.text("C") == "kiln: at 1041 °C for 59 min; the recipe's last hold is 25 min."
    assert act.settle == f"soakwitness mark pull --run {run}"


def test_at_most_counts_where_the_recipe_states_it(shop: Workshop) -> None:
    recipe = PLAIN.replace("hold_minutes = 25", "hold_minutes = 25\nat_most_minutes = 40")
    shop.run(0, recipe, temps=heating((1, 500), (0.75, 1041)), goes_on=True)
    assert shop.says(1.75, "hot") == ["shed: at 1041 °C for 44 min; the recipe's last hold is 25 min, 40 min at most."]


def test_a_second_charge_begins_the_time_anew_and_a_door_does_not_end_it(shop: Workshop) -> None:
    long = heating((1, 500), (0.8, 1041), (0.1, 990), (0.8, 1041))
    shop.run(0, PLAIN, temps=long, loads=[1.85], goes_on=True)
    assert shop.acts(2.7, "hot") == []
    shop.furnace = "kiln"
    shop.run(0, PLAIN, temps=long, goes_on=True)
    assert len(shop.acts(2.7, "hot")) == 1


def test_a_furnace_that_cools_is_not_hot_past_its_end(shop: Workshop) -> None:
    shop.run(0, PLAIN, temps=heating((1, 500), (1.5, 1041), (0.5, 800)), goes_on=True)
    assert shop.acts(3, "hot") == []


def test_every_blade_is_out_and_the_furnace_still_at_heat(shop: Workshop) -> None:
    shop.run(0, TWICE, temps=heating((1, 500), (1.2, 1041)), pull=[(1.45, [])], loads=[0.0], goes_on=True)
    assert shop.says(2.2, "hot") == ["shed: every blade is out for 44 min, and it still is at 1041 °C."]
    shop.furnace = "kiln"
    shop.run(0, TWICE, temps=heating((1, 500), (0.7, 1041)), pull=[(1.45, [])], loads=[0.0], goes_on=True)
    assert [says for says in shop.says(1.7, "hot") if "kiln" in says] == []


def test_folders_that_cannot_be_read_are_left_to_the_check(shop: Workshop) -> None:
    torn = shop.folder / "runs" / "20260302T070000Z_torn_0001"
    torn.mkdir(parents=True)
    (torn / "run.json").write_text("{")
    (shop.folder / "runs" / "nothing").mkdir()
    assert shop.acts(1, *KINDS) == []


def test_an_instrument_in_fahrenheit_is_read_as_such(shop: Workshop) -> None:
    """1904 °F are 1040 °C: (1904 - 32) / 1.8."""
    shop.unit = "F"
    shop.run(0, PLAIN, temps=heating((1, 900), (1, 1904)), goes_on=True)
    assert shop.says(2, "hot") == ["shed: at 1040 °C for 59 min; the recipe's last hold is 25 min."]


def test_a_start_that_is_no_time_is_left_to_the_check(shop: Workshop) -> None:
    run = shop.run(0, PLAIN, cut_off=True)
    header = shop.folder / "runs" / run / "run.json"
    header.write_text(header.read_text().replace("2026-03-02T07:00:00", "yesterday"))
    assert shop.acts(5, *KINDS) == []
