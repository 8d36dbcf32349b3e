"""Packets side by side, against a radiosity solution written apart from the model, and against what must be so."""

from __future__ import annotations

import numpy as np
import pytest

from soakwitness.analysis.packet.estimate import estimate, estimate_row
from soakwitness.analysis.packet.piece import PacketModel, generic_packet
from soakwitness.analysis.packet.rack import Beside, Row, beside, exchanged, felt_alone, full
from soakwitness.analysis.packet.row_bundle import row_bundle
from soakwitness.analysis.recipes.recipe import PacketSpec
from soakwitness.firmware_bridge.furnace.rack import Rack
from tests.packet_oracle import TruePacket
from tests.rack_oracle import gap_transfer, solve_rack


def packet(mm: float = 3.0, *, foil: bool = True) -> PacketModel:
    return generic_packet(PacketSpec(thickness_mm=mm, foil=foil))


def truth(mm: float = 3.0, *, foil: bool = True) -> TruePacket:
    return TruePacket(mm, eps_o=0.6 if foil else 0.8, foil=foil)


T = np.arange(0.0, 6000.0, 5.0)


def two_holds(t: float) -> float:
    return float(np.interp(t, [0, 900, 1500, 3840, 6000], [20, 780, 780, 1040, 1040]))


CHAMBER = np.array([two_holds(t) for t in T])
HOT = np.full(T.size, 1040.0)


@pytest.mark.parametrize(
    ("thicknesses", "spacing_mm", "stands_on", "foil"),
    [
        ((3.0,) * 6, 15.0, "shelf", False),
        ((3.0,) * 7, 10.0, "shelf", False),
        ((3.0,) * 6, 15.0, "floor", True),
        ((2.0, 5.0, 2.0, None, 8.0, 3.0), 14.0, "floor", True),
        ((3.0, None, None, 3.0), 12.0, "floor", True),
    ],
)
@pytest.mark.parametrize("hot", [False, True])
def test_every_slot_as_the_radiosity_solution_has_it(
    thicknesses: tuple[float | None, ...], spacing_mm: float, stands_on: str, foil: bool, hot: bool
) -> None:
    rack = Rack(len(thicknesses), spacing_mm, stands_on=stands_on)  # type: ignore[arg-type]
    row = Row(rack, tuple(None if mm is None else packet(mm, foil=foil) for mm in thicknesses))
    found = [one for one in estimate_row(T, HOT if hot else CHAMBER, row=row, load_t_s=0.0, draws=2) if one is not None]
    expected = solve_rack(
        [None if mm is None else truth(mm, foil=foil) for mm in thicknesses],
        spacing_mm,
        (lambda t: 1040.0) if hot else two_holds,
        T,
        floor=stands_on == "floor",
    )
    for one, blade in zip(found, expected, strict=True):
        level, since = 1034.0, 0.0 if hot else 3786.0
        reached = T[np.flatnonzero(blade >= level)[0]] - since
        assert one.lag_s(level, since).best_s == pytest.approx(reached, rel=0.02, abs=5.0)
        assert np.abs(one.best_c - blade)[T > 100].max() < (12.0 if hot else 4.0)  # it heats by 8 K a second


def test_unequal_widths() -> None:
    widths = (40.0, 25.0, 60.0)
    row = Row(Rack(3, 14.0), tuple(packet(mm) for mm in (3.0, 4.0, 2.0)), widths)
    found = estimate_row(T, CHAMBER, row=row, load_t_s=0.0, draws=2)
    expected = solve_rack([truth(mm) for mm in (3.0, 4.0, 2.0)], 14.0, two_holds, T, heights_mm=widths)
    for one, blade in zip(found, expected, strict=True):
        assert one is not None
        assert np.abs(one.best_c - blade).max() < 6.0


@pytest.mark.parametrize("floor", [False, True])
def test_exchange_factors_are_the_solved_radiosities(floor: bool) -> None:
    row = Row(Rack(2, 14.0, stands_on="floor" if floor else "shelf"), (packet(), packet(foil=False)))
    mine, theirs = row.views(0, 1)
    eps, other = np.array([0.6], np.float32), np.array([0.8], np.float32)
    found = [float(factor[0]) for factor in exchanged(eps, other, mine, theirs)]
    matrix = gap_transfer(250.0, 40.0, 40.0, row.gap_mm(0, 1), 0.6, 0.8, floor)
    assert found == pytest.approx([matrix[0, 1], matrix[0, 2], matrix[1, 0], matrix[1, 2]], abs=2e-3)


def test_a_packet_alone_in_the_rack_is_the_lone_one_to_the_byte() -> None:
    lone = estimate(T, CHAMBER, packet=packet(), load_t_s=100.0)
    row = estimate_row(T, CHAMBER, row=Row(Rack(3, 12.0), (None, packet(), None)), load_t_s=100.0)
    assert row[0] is None
    assert row[2] is None
    assert row[1] is not None
    assert row[1].best_c.tobytes() == lone.best_c.tobytes()
    assert row[1].draws_c.tobytes() == lone.draws_c.tobytes()
    assert row[1].says == lone.says


@pytest.mark.parametrize("foil", [True, False])
def test_far_apart_each_is_alone(foil: bool) -> None:
    row = Row(Rack(3, 500.0, width_mm=20.0, length_mm=50.0), (packet(foil=foil),) * 3)
    lone = estimate(T, CHAMBER, packet=packet(foil=foil), load_t_s=0.0, draws=2)
    for one in estimate_row(T, CHAMBER, row=row, load_t_s=0.0, draws=2):
        assert one is not None
        assert np.abs(one.best_c - lone.best_c).max() < 2.0


def test_energy_is_kept() -> None:
    """What two packets exchange sums to nothing; all heat comes from the chamber."""
    row = Row(Rack(2, 10.0), (packet(3.0, foil=False), packet(8.0, foil=False)))
    figures, _ = row_bundle(row, 50)
    # Equal areas: each gives the other what it gets from it, draw by draw.
    right_sigma, left_sigma = figures.facing_sigma[0]
    assert right_sigma == pytest.approx(left_sigma, rel=1e-5)
    # And of a face's emission nothing is lost: both factors together are what it would exchange with both at one
    # temperature, never more than a lone face.
    lone = figures.bundle.eps_sigma
    outside_sigma, inside_sigma = figures.sides.eps_sigma[0]  # of the first packet, towards the chamber
    assert np.all(inside_sigma + right_sigma <= lone[0] * 1.00001)
    assert np.array_equal(outside_sigma, lone[0])


def test_the_middle_is_latest_and_closer_is_later() -> None:
    def lags(spacing_mm: float, stands_on: str) -> list[float]:
        row = Row(Rack(7, spacing_mm, stands_on=stands_on), (packet(foil=False),) * 7)  # type: ignore[arg-type]
        found = estimate_row(T, CHAMBER, row=row, load_t_s=0.0, draws=2)
        return [one.lag_s(1034.0, 3786.0).best_s or np.inf for one in found if one is not None]

    at_15, at_10 = lags(15.0, "shelf"), lags(10.0, "shelf")
    assert at_15 == pytest.approx(at_15[::-1], rel=1e-3)
    assert at_15[0] < at_15[1] < at_15[2] < at_15[3]
    assert all(close > wide for close, wide in zip(at_10, at_15, strict=True))
    assert all(floor > open_ for floor, open_ in zip(lags(15.0, "floor"), at_15, strict=True))
    lone = estimate(T, CHAMBER, packet=packet(foil=False), load_t_s=0.0, draws=2).lag_s(1034.0, 3786.0).best_s
    assert lone is not None
    assert at_15[0] > lone
    # A sketch made elsewhere: of six 15 mm apart the outer ones 1.8 x, the inner ones 2.6 x as late as a lone one; of
    # seven 10 mm apart 2.2 x and 3.8 x.
    assert at_15[3] / lone == pytest.approx(2.6, rel=0.15)
    assert at_10[3] / lone == pytest.approx(3.8, rel=0.15)
    assert at_10[0] / lone == pytest.approx(2.2, rel=0.1)


def test_steps_of_any_length_end_alike() -> None:
    row = Row(Rack(5, 10.0), (packet(),) * 5)
    coarse = estimate_row(T, HOT, row=row, load_t_s=0.0, draws=2)
    every = np.arange(0.0, 6000.0, 1.0)
    swinging = 1040.0 + 0.0 * every
    fine = estimate_row(every, swinging, row=row, load_t_s=0.0, draws=2)
    for one, other in zip(coarse, fine, strict=True):
        assert one is not None
        assert other is not None
        assert one.lag_s(1034.0, 0.0).best_s == pytest.approx(other.lag_s(1034.0, 0.0).best_s, rel=0.005)


def test_bare_and_foil_stand_in_one_rack() -> None:
    row = Row(Rack(3, 12.0), (packet(), packet(foil=False), packet()))
    found = estimate_row(T, CHAMBER, row=row, load_t_s=0.0, draws=4)
    assert all(one is not None and np.isfinite(one.draws_c).all() for one in found)


def test_long_runs_stay_finite() -> None:
    t = np.arange(0.0, 200_000.0, 10.0)
    row = Row(Rack(7, 9.0), tuple(packet(mm) for mm in (1.5, 6.0, 1.5, 8.0, 2.0, 3.0, 3.0)))
    chamber = 700.0 + 330.0 * np.sin(t / 3000.0)
    found = estimate_row(t, chamber, row=row, load_t_s=0.0)
    for one in found:
        assert one is not None
        assert np.isfinite(one.draws_c).all()
        assert one.high_c.max() < 1031.0


def test_packets_that_overlap_on_paper_touch() -> None:
    assert Row(Rack(2, 2.0), (packet(8.0), packet(8.0))).gap_mm(0, 1) == 0.5


def test_draws_do_not_depend_on_the_order_of_the_row() -> None:
    packets = tuple(packet(mm) for mm in (2.0, 4.0, 3.0))
    rack = Rack(3, 14.0)
    one = estimate_row(T, CHAMBER, row=Row(rack, packets), load_t_s=0.0, draws=8)
    other = estimate_row(T, CHAMBER, row=Row(rack, packets[::-1]), load_t_s=0.0, draws=8)
    for mine, theirs in zip(one, other[::-1], strict=True):
        assert mine is not None
        assert theirs is not None
        assert np.abs(mine.draws_c - theirs.draws_c).max() < 0.05


def test_places_on_record_are_slots() -> None:
    rack = Rack(6, 15.0)
    assert [rack.slot_of(place) for place in ("3", "slot 6", "place 1, left", "front", None, "7", "0", "2 or 3")] == [
        3,
        6,
        1,
        None,
        None,
        None,
        None,
        None,
    ]


def test_known_places_are_the_row() -> None:
    thin, thick = packet(2.0), packet(6.0)
    found = beside(Rack(4, 15.0), [thin, thick], ["4", "slot 2"], 0)
    assert found == Beside(Row(Rack(4, 15.0), (None, thick, None, thin)), 3, known=True)
    assert not found.alone


@pytest.mark.parametrize("places", [["1", None, "3"], ["1", "1", "2"], ["front", "middle", "back"], ["1", "2", "9"]])
def test_of_unknown_places_the_worst_is_taken(places: list[str | None]) -> None:
    thin, thick, middle = packet(2.0), packet(6.0), packet(3.0)
    found = beside(Rack(4, 15.0), [thin, thick, middle], places, 0)
    assert found == Beside(Row(Rack(4, 15.0), (middle, thin, thick)), 1, known=False)


def test_more_pieces_than_slots_fill_the_rack() -> None:
    found = beside(Rack(3, 15.0), [packet()] * 5, [None] * 5, 2)
    assert len(found.row.slots) == 3
    assert found.slot == 1


def test_one_piece_alone_is_alone_wherever_it_stood() -> None:
    assert beside(Rack(3, 15.0), [packet()], [None], 0).alone
    assert beside(Rack(3, 15.0), [packet()], ["2"], 0).alone
    assert not full(Rack(3, 15.0), packet()).alone


def test_the_lone_packet_in_its_stead_lags_nearly_as_much() -> None:
    where = full(Rack(7, 12.0), packet())
    found = estimate_row(T, CHAMBER, row=where.row, load_t_s=0.0, draws=2)[where.slot]
    stead = estimate(T, CHAMBER, packet=felt_alone(where), load_t_s=0.0, draws=2)
    assert found is not None
    assert stead.lag_s(1034.0, 3786.0).best_s == pytest.approx(found.lag_s(1034.0, 3786.0).best_s, rel=0.25)
    assert (stead.lag_s(1034.0, 3786.0).best_s or 0.0) > (found.lag_s(1034.0, 3786.0).best_s or 0.0)
