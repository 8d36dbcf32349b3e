"""The names by which ``analysis.verification`` still asks for units and wording; their home is ``common``."""

from soakwitness.firmware_bridge.common.units import Unit as Unit
from soakwitness.firmware_bridge.common.wording import difference as difference
from soakwitness.firmware_bridge.common.wording import duration as duration
from soakwitness.firmware_bridge.common.wording import temperature as temperature
