"""Furnace files: a person's TOML text into ``furnace.model``, every mistake answered with its place."""

from __future__ import annotations

from pathlib import Path

from soakwitness.firmware_bridge.furnace.model import Furnace, LinkKind


def load_furnace(path: Path | str) -> Furnace:
    """Read and check a furnace file; raises FurnaceFileError."""
    raise NotImplementedError


def parse_furnace(text: str, source: str) -> Furnace:
    """Check the text of a furnace file; ``source`` is its name in messages. Raises FurnaceFileError."""
    raise NotImplementedError


def template(link: LinkKind) -> str:
    """Return a commented furnace file for that kind of link, which itself passes the parser."""
    raise NotImplementedError
