"""Packet files: what is written comes back, and every mistake is named with its place."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from soakwitness.analysis.errors import PacketFileError
from soakwitness.analysis.packet.packet_file import load_packet, packet_text, parse_packet
from soakwitness.analysis.packet.piece import PacketModel, generic_packet
from soakwitness.analysis.recipes.recipe import PacketSpec

FITTED = PacketModel(
    thickness_mm=3.2,
    foil_mm=0.06,
    heated_faces=1,
    blades=2,
    eps_o=0.71,
    f_i=0.22,
    gap_mm=0.8,
    peak_factor=1.1,
    spread=(0.1, 0.12, 0.25, 0.05),
    correlation=((1.0, -0.4, 0.1, 0.0), (-0.4, 1.0, 0.6, 0.0), (0.1, 0.6, 1.0, 0.0), (0.0, 0.0, 0.0, 1.0)),
    scatter=(0.15, 0.15, 0.3, 0.0),
    peak_c=800.0,
    steel_group="stainless",
    fitted=True,
    slow_side=1.0,
    sensor_offset_c=-0.7,
    sensor_lag_s=24.0,
    sensor_lag_spread_s=3.5,
    sensor_lag_with=(0.6, -0.2, 0.4, 0.0),
    fitted_from='20261125T071502Z_"shed"\\_0a1b',
    fitted_thickness_mm=3.2,
)


def test_what_is_written_comes_back(tmp_path: Path) -> None:
    path = tmp_path / "packet.toml"
    path.write_text(packet_text(FITTED), encoding="utf-8")
    assert load_packet(path) == replace(FITTED, source=str(path))


def test_a_short_file_takes_generic_figures() -> None:
    packet = parse_packet("thickness_mm = 4\nfoil = false\n", "mine.toml")
    generic = generic_packet(PacketSpec(thickness_mm=4, foil=False))
    assert packet == replace(generic, source="mine.toml")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", ("thickness_mm", "missing")),
        ("thickness_mm = -3", ("thickness_mm = -3", "above 0")),
        ("thickness_mm = 3\neps_o = 1.4", ("eps_o = 1.4", "0.98")),
        ("thickness_mm = 3\nepso = 0.4", ("epso", "Did you mean eps_o?")),
        ("thickness_mm = 3\nheated_faces = 3", ("heated_faces = 3", "1 to 2")),
        ("thickness_mm = 3\nfoil = 1", ("foil = 1", "true or false")),
        ("thickness_mm = 3\n[spread]\neps_o = true", ("[spread]", "eps_o = true", "number")),
        ("thickness_mm = 3\n[correlation]\neps_o = [1, 0]", ("[correlation]", "4 numbers")),
        (
            "thickness_mm = 3\n[correlation]\neps_o = [1, 0.5, 0, 0]\nf_i = [0, 1, 0, 0]\n"
            "gap_mm = [0, 0, 1, 0]\npeak_factor = [0, 0, 0, 1]",
            ("[correlation]", "diagonal"),
        ),
        ('format = "soakwitness/packet-file/2"\nthickness_mm = 3', ("format", "soakwitness/packet-file/1")),
        ("thickness_mm = =", ("line 1",)),
    ],
)
def test_mistakes_are_named(text: str, words: tuple[str, ...]) -> None:
    with pytest.raises(PacketFileError) as caught:
        parse_packet(text, "p.toml")
    assert all(word in str(caught.value) for word in ("p.toml", *words))
    assert caught.value.exit_code == 2


def test_a_file_that_is_not_there_or_no_text(tmp_path: Path) -> None:
    with pytest.raises(PacketFileError, match="packet fit"):
        load_packet(tmp_path / "none.toml")
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(PacketFileError, match="UTF-8"):
        load_packet(tmp_path / "bytes.toml")


def test_reading_a_packet_or_a_recipe_loads_no_numbers_library() -> None:
    code = (
        "import soakwitness.analysis.packet.packet_file, soakwitness.analysis.recipes.recipe_file, sys;"
        "print(sorted({'numpy', 'pandas', 'scipy', 'matplotlib'} & set(sys.modules)))"
    )
    answer = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert answer.stdout.strip() == "[]"
