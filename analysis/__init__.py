"""Everything that is computed. What it offers to other programs stands in ``LIBRARY``; the rooms behind may change."""

from importlib import import_module
from typing import Any

LIBRARY = {
    "open_run": "record.run",
    "load_recipe": "recipes.recipe_file",
    "load_packet": "packet.packet_file",
    "verify": "verification.verifying",
    "as_json": "verification.results.report",
    "emf_mv": "thermocouples.reference_functions",
    "temperature_c": "thermocouples.reference_functions",
    "seebeck_uv_per_c": "thermocouples.reference_functions",
    "tolerance_c": "thermocouples.tolerance",
}


def __getattr__(name: str) -> Any:
    """Load what is asked for on first use, so that importing the wing stays cheap."""
    if name in LIBRARY:
        return getattr(import_module(f"soakwitness.analysis.{LIBRARY[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
