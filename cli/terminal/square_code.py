"""A link as a square code in the terminal, for the camera of a phone."""

from __future__ import annotations

import os
import shutil
from typing import TextIO

QUIET = 4  # light modules around it, as the standard asks (ISO/IEC 18004, 6.3.8)
INK = "\x1b[38;5;16;48;5;231m"  # black on white of the fixed colours: the terminal's own may be any
PLAIN = "\x1b[0m"
HALVES = {(False, False): " ", (True, False): "\u2580", (False, True): "\u2584", (True, True): "\u2588"}


def code_lines(link: str, out: TextIO | None, *, columns: int | None = None) -> list[str]:
    """Lines of the code; none where it cannot be shown: no terminal, too narrow, other letters."""
    if out is None or not out.isatty() or os.environ.get("TERM", "") in ("", "dumb"):
        return []
    try:
        "".join(HALVES.values()).encode(getattr(out, "encoding", None) or "ascii")
    except (UnicodeEncodeError, LookupError):
        return []
    rows = code_rows(link)
    wide = shutil.get_terminal_size().columns if columns is None else columns
    if len(rows) > wide:
        return []
    pairs = zip(rows[::2], [*rows[1::2], (False,) * len(rows)], strict=False)
    return [INK + "".join(HALVES[pair] for pair in zip(*two, strict=True)) + PLAIN for two in pairs]


def code_rows(text: str) -> list[tuple[bool, ...]]:
    """The code as rows of dark and light modules, the quiet ones around it too."""
    import segno

    return [tuple(bool(one) for one in row) for row in segno.make_qr(text, error="m").matrix_iter(border=QUIET)]
