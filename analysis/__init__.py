"""Everything that is computed: traces, recipes, verification, packet model, calibration, log book, audit."""

from typing import Any


def __getattr__(name: str) -> Any:
    """Load ``open_run`` on first use, so that importing the wing stays cheap."""
    if name == "open_run":
        from soakwitness.analysis.record.run import open_run

        return open_run
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
