"""``soakwitness ports``."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from soakwitness.cli.main import soakwitness
from soakwitness.firmware_bridge.links import ports
from soakwitness.firmware_bridge.links.ports import PortInfo

LISTED = [
    PortInfo("/dev/ttyUSB1", "/dev/serial/by-id/usb-adapter", "Maker, Adapter", "can be opened"),
    PortInfo("/dev/ttyS0", None, "serial port", "no permission"),
]


def test_ports_are_listed_by_the_name_for_the_furnace_file(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ports, "list_ports", lambda: LISTED)
    answer = CliRunner().invoke(soakwitness, ["ports"])
    assert answer.exit_code == 0
    assert answer.stdout.splitlines() == [
        "/dev/serial/by-id/usb-adapter",
        "    Maker, Adapter; now /dev/ttyUSB1; can be opened",
        "/dev/ttyS0",
        "    serial port; no permission",
    ]


def test_ports_as_json(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ports, "list_ports", lambda: LISTED)
    answer = json.loads(CliRunner().invoke(soakwitness, ["ports", "--json"]).stdout)
    assert [item["best"] for item in answer] == ["/dev/serial/by-id/usb-adapter", "/dev/ttyS0"]
    assert answer[1]["stable"] is None


def test_no_port_at_all_says_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ports, "list_ports", list)
    answer = CliRunner().invoke(soakwitness, ["ports"])
    assert answer.stdout == ""
    assert "Plug the adapter in" in answer.stderr
