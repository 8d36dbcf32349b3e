"""Packet files: reading and writing fitted packets. Standard library only."""

from __future__ import annotations

from pathlib import Path

from soakwitness.analysis.packet.piece import PacketModel
from soakwitness.analysis.packet.piece import for_piece as for_piece
from soakwitness.analysis.packet.piece import generic_packet as generic_packet


def load_packet(path: str | Path) -> PacketModel:
    """Read a packet file."""
    raise NotImplementedError


def packet_text(packet: PacketModel) -> str:
    """Packet file as text."""
    raise NotImplementedError
