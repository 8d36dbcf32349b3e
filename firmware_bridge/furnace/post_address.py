"""Addresses that an alarm may be sent to."""

from __future__ import annotations

import urllib.parse


def why_no_address(text: str) -> str | None:
    """Why a text is no address that an alarm can be sent to; None where it is one."""
    try:
        parts = urllib.parse.urlsplit(text)
        port = parts.port
    except ValueError as error:
        return str(error)
    if parts.scheme not in ("http", "https"):
        return "it must begin with http:// or https://"
    if not parts.hostname or port == 0:
        return "it names no computer"
    if parts.username is not None or parts.password is not None:
        return "a name and a password in it are not sent"
    return None if text.isascii() and text.isprintable() and " " not in text else "it has signs that no address has"
