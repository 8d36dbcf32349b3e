"""The shop as its papers name it."""

from __future__ import annotations

from pathlib import Path


def shop_lines(logbook: Path) -> tuple[str, ...]:
    """Name, then address and whatever else the shop's file says; nothing where there is none."""
    from soakwitness.analysis.logbook.shop_file import read_shop

    shop = read_shop(logbook)
    return () if shop is None else (shop.name, *shop.lines)
