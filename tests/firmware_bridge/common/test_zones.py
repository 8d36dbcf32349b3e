"""Time zones by name and by offset."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from soakwitness.firmware_bridge.common import zones
from soakwitness.firmware_bridge.common.zones import computer_zone, local_zone, zone_of, zone_on_record
from soakwitness.firmware_bridge.errors import UnknownZone

SUMMER = datetime(2026, 7, 1, 12, tzinfo=UTC)


@pytest.mark.parametrize(
    ("text", "hours"),
    [
        ("Europe/Vienna", 2.0),  # summer time
        ("+02:00", 2.0),
        ("+0200", 2.0),
        ("+2", 2.0),
        ("-0330", -3.5),
        ("-00:30", -0.5),
        ("Z", 0.0),
        ("z", 0.0),
        ("UTC", 0.0),
    ],
)
def test_names_and_offsets(text: str, hours: float) -> None:
    assert zone_of(text).utcoffset(SUMMER) == timedelta(hours=hours)
    assert zone_on_record(text).utcoffset(SUMMER) == timedelta(hours=hours)


@pytest.mark.parametrize("text", ["Vienna", "", "+25:00", "+02:60", "02:00", "../etc/passwd", "Europe"])
def test_what_is_none_names_itself_and_what_is_allowed(text: str) -> None:
    with pytest.raises(UnknownZone, match="is no time zone .* such as Europe/Vienna, UTC or \\+01:00"):
        zone_of(text)
    assert zone_on_record(text) is UTC
    assert zone_on_record(None) is UTC


def test_the_computer_s_own_zone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TZ", ":Europe/Vienna")
    assert (local_zone(), computer_zone()) == ("Europe/Vienna", "Europe/Vienna")
    monkeypatch.setattr(zones, "_names", lambda: ["Nowhere/AtAll"])
    assert local_zone() is None
    assert zone_of(computer_zone()).utcoffset(SUMMER) == datetime.now().astimezone().utcoffset()
