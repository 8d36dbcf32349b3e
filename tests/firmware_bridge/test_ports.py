"""The list of ports: stable names, what it is, whether it can be used."""

from __future__ import annotations

import os
from pathlib import Path
from types import SimpleNamespace

import pytest

from soakwitness.firmware_bridge.furnace.sensors_and_links import LinkSettings
from soakwitness.firmware_bridge.links.port import open_port
from soakwitness.firmware_bridge.links.ports import describe_ports, list_ports
from tests.wires import wire

pytestmark = pytest.mark.skipif(os.name != "posix", reason="stable names are links of a POSIX system")


def found(device: Path | str, **more: str) -> SimpleNamespace:
    """Describe a port as pyserial's comports does."""
    blank = {"manufacturer": None, "product": None, "description": "n/a", "serial_number": None}
    return SimpleNamespace(device=str(device), **{**blank, **more})


def test_a_port_is_listed_under_the_name_that_stays(tmp_path: Path) -> None:
    (tmp_path / "by-id").mkdir()
    for name in ("tty1", "tty2"):
        (tmp_path / name).write_text("")
    link = tmp_path / "by-id" / "usb-adapter-A9"
    link.symlink_to("../tty2")
    listed = describe_ports(
        [
            found(tmp_path / "tty1"),
            found(tmp_path / "tty2", manufacturer="Maker", product="Adapter", serial_number="A9"),
        ],
        tmp_path / "by-id",
    )
    assert [(info.best, info.port) for info in listed] == [
        (str(link), str(tmp_path / "tty2")),
        (str(tmp_path / "tty1"), str(tmp_path / "tty1")),
    ]
    assert [info.what for info in listed] == ["Maker, Adapter, A9", "serial port"]
    assert {info.state for info in listed} == {"can be opened"}


def test_a_port_in_use_says_who_has_it(tmp_path: Path) -> None:
    with wire(tmp_path) as line:
        port = open_port(LinkSettings("modbus", line.near))
        (info,) = describe_ports([found(line.near)], tmp_path / "none")
        port.close()
    assert f"process {os.getpid()} has it" in info.state


def test_a_port_that_is_gone_or_forbidden_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (info,) = describe_ports([found(tmp_path / "gone")], tmp_path)
    assert info.state == "not there any more"
    monkeypatch.setattr(os, "access", lambda path, mode: not str(path).endswith("shut"))  # root is denied nothing
    (tmp_path / "shut").write_text("")
    (info,) = describe_ports([found(tmp_path / "shut")], tmp_path)
    assert info.state == "no permission"


def test_the_real_list_can_be_read() -> None:
    assert all(info.best and info.what and info.state for info in list_ports())
