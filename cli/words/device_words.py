"""Words on devices that look at the book, and their links."""

from __future__ import annotations

LOOKS_ONLY = "Looks only. Changes nothing at the furnace."
MARKS_ONLY = "Marks only. Changes nothing at the furnace."


def device_link(address: str, token: str) -> str:
    """The link that lets a device in."""
    return f"{address}?token={token}"


def label_words(rights: str) -> str:
    """What a device does, as its label says."""
    return MARKS_ONLY if rights == "mark" else LOOKS_ONLY
