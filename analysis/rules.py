"""The version of the rules by which runs are judged and measured."""

from __future__ import annotations

RULES_VERSION = "6"
"""Raise it whenever verification or measuring gives another answer for the same run: all runs are judged anew then.

1, 2: before kept verdicts named it. 3: everyone judges by the same inputs, too hot is no pass, each hold decides by its
own sensor, a cooling time too near its limit is not proven. 4: the uncertainty of a calibration grows with time and
hours hot, which end it too; a check that contradicts it has it lapse; the furnace's own figures, too, of the room, the
charge and the mains. 5: a cooling too slow is a finding of its own; a slow or fast ramp tells what held or drove it; a
gap that was longer than it is on record bounds nothing of how hot it was meanwhile. 6: what a hold lacks is told before
what is not known of the quench; a limit that was missed by little is not told as kept.
"""
