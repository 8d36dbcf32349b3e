"""Opening a port: exclusive, locked, line states first, every reason told apart."""

from __future__ import annotations

import errno
import os
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
import serial

from soakwitness.firmware_bridge.errors import LinkError
from soakwitness.firmware_bridge.furnace.sensors_and_links import LinkSettings
from soakwitness.firmware_bridge.links.port import lock_path, open_port
from soakwitness.firmware_bridge.runfolder.lock import is_held
from tests.wires import Wire, wire

posix = pytest.mark.skipif(os.name != "posix", reason="needs pseudo-terminals")


@pytest.fixture
def line(tmp_path: Path) -> Iterator[Wire]:
    with wire(tmp_path) as joined:
        yield joined


def settings(port: str) -> LinkSettings:
    return LinkSettings("modbus", port, baud=115200, timeout_s=0.2)


def refusal(port: str) -> LinkError:
    with pytest.raises(LinkError) as caught:
        open_port(settings(port))
    assert caught.value.exit_code == 2
    assert str(caught.value).startswith(f"{port}: ")
    return caught.value


@posix
def test_the_second_is_told_who_has_the_port(line: Wire, tmp_path: Path) -> None:
    first = open_port(settings(line.near))
    other_name = tmp_path / "other name"
    other_name.symlink_to(os.path.realpath(line.near))
    for name in (line.near, str(other_name)):
        error = refusal(name)
        assert error.reason == "busy"
        assert f"process {os.getpid()} has it" in str(error)
    first.close()
    open_port(settings(line.near)).close()


@posix
def test_a_lock_ends_with_its_process(line: Wire) -> None:
    code = (
        "import sys, os; from soakwitness.firmware_bridge.furnace.sensors_and_links import LinkSettings;"
        "from soakwitness.firmware_bridge.links.port import open_port;"
        "port = open_port(LinkSettings('modbus', sys.argv[1])); print(os.getpid(), flush=True); sys.stdin.read()"
    )
    command = [sys.executable, "-c", code, line.near]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout is not None
        pid = other.stdout.readline().strip()
        assert f"process {pid} has it" in str(refusal(line.near))
        other.kill()
    open_port(settings(line.near)).close()


@posix
def test_a_port_that_another_program_holds_exclusively_is_busy(line: Wire) -> None:
    with serial.Serial(line.near, exclusive=True):
        error = refusal(line.near)
    assert error.reason == "busy"
    assert "another program" in str(error)


@posix
def test_a_missing_port_and_a_file_that_is_no_port(tmp_path: Path) -> None:
    error = refusal(str(tmp_path / "ttyNONE"))
    assert error.reason == "missing"
    assert "soakwitness ports" in str(error)
    plain = tmp_path / "plain"
    plain.write_text("x")
    error = refusal(str(plain))
    assert (error.reason, "no serial port" in str(error)) == ("missing", True)


@posix
def test_a_port_that_refuses_its_settings_says_which(line: Wire, monkeypatch: pytest.MonkeyPatch) -> None:
    import termios

    def refuse(*args: object) -> None:
        raise termios.error(errno.EINVAL, "Invalid argument")  # as a pseudo-terminal does at a second opening

    monkeypatch.setattr(termios, "tcsetattr", refuse)
    error = refusal(line.near)
    assert error.reason == "missing"
    assert "parity" in str(error)
    assert "(invalid argument)" in str(error)


@posix
def test_no_permission_names_the_group_to_join(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import grp

    port = tmp_path / "port"
    port.write_text("")

    def denied(self: serial.Serial) -> None:
        raise serial.SerialException(errno.EACCES, "could not open port: Permission denied")

    monkeypatch.setattr(serial.Serial, "open", denied)  # the tests may run as root, whom nothing is denied
    error = refusal(str(port))
    assert error.reason == "no permission"
    assert f'group "{grp.getgrgid(os.stat(port).st_gid).gr_name}"' in str(error)
    lock = lock_path(str(port))
    assert lock is not None
    assert not is_held(lock)


def test_line_states_and_timeouts_are_set_before_the_port_is_opened(monkeypatch: pytest.MonkeyPatch) -> None:
    seen: dict[str, object] = {}

    class Stand:
        def open(self) -> None:
            seen.update(vars(self))

        def close(self) -> None:
            pass

    monkeypatch.setattr(serial, "serial_for_url", lambda url, do_not_open: Stand())
    open_port(LinkSettings("lines", "not-a-real-port", parity="E", dtr=False, rts=True, timeout_s=0.3)).close()
    assert (seen["dtr"], seen["rts"], seen["timeout"], seen["parity"]) == (False, True, 0.3, "E")
    assert isinstance(seen["write_timeout"], float)
    assert seen.get("exclusive") is (True if os.name == "posix" else None)


def test_a_network_address_works_as_a_port_and_is_missing_where_nobody_listens() -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        name = f"socket://127.0.0.1:{listener.getsockname()[1]}"

        def serve() -> None:
            connection, _ = listener.accept()
            with connection:
                connection.sendall(connection.recv(100).upper())

        thread = threading.Thread(target=serve)
        thread.start()
        port = open_port(settings(name))
        port.write(b"abc")
        assert port.read(3) == b"ABC"
        thread.join()
        with pytest.raises(LinkError, match="gone while in use") as caught:
            port.read(1)
        assert caught.value.reason == "missing"
        port.close()
    error = refusal(name)
    assert error.reason == "missing"
    assert "nobody answers there" in str(error)


@posix
def test_a_name_that_no_network_knows_is_said_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    unknown = socket.gaierror(socket.EAI_NONAME, "Name or service not known")
    monkeypatch.setattr(socket, "create_connection", lambda *_, **__: (_ for _ in ()).throw(unknown))
    assert "(name or service not known)" in str(refusal("socket://adapter.example:4001"))


def test_a_cable_that_is_pulled_is_missing_and_closing_never_raises(tmp_path: Path) -> None:
    own, other = os.openpty()
    port = open_port(settings(os.ttyname(other)))
    os.close(other)
    os.close(own)
    with pytest.raises(LinkError) as caught:
        port.read(1)
    assert caught.value.reason == "missing"
    port.close()
    port.close()


@posix
def test_the_lock_goes_by_the_place_a_name_leads_to(tmp_path: Path) -> None:
    (tmp_path / "a").write_text("")
    (tmp_path / "b").symlink_to(tmp_path / "a")
    assert lock_path(str(tmp_path / "a")) == lock_path(str(tmp_path / "b"))
    assert lock_path(str(tmp_path / "a")) != lock_path(str(tmp_path / "c"))
