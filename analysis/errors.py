"""Errors of this wing. Each message names the offending value, where it stands and the next step."""

from __future__ import annotations

from soakwitness.firmware_bridge.common.wording import Says, saying


class AnalysisError(Exception):
    """Base of everything this wing raises on purpose. ``exit_code`` is the status a command gives for it.

    Its sentence may carry temperatures: ``says`` is it for either unit, ``str`` in degC.
    """

    exit_code = 2

    def __init__(self, says: str | Says) -> None:
        self.says = saying(says)
        super().__init__(str(self.says))


class RecipeError(AnalysisError):
    """A recipe that cannot be used: names file, step, key, value and what is allowed."""


class ImportFileError(AnalysisError):
    """A foreign log that cannot be read: names file, line or column and what is allowed."""


class NotEnoughData(AnalysisError):
    """The record is too short or too empty for what was asked: to the asker a wrong file."""


class ContradictionError(AnalysisError):
    """Readings or papers that cannot all be true: names both figures and what to do next."""


class LogBookError(AnalysisError):
    """The log book cannot do what was asked: names the entry and the next step."""


class ThermocoupleError(AnalysisError, ValueError):
    """An unknown thermocouple type or class, or a value outside the range of the reference function."""


class PacketFileError(AnalysisError):
    """A packet file that cannot be used: names file, key, value and what is allowed."""
