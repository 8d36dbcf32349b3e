"""``soakwitness furnace new``, ``check`` and ``read``."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from soakwitness.cli.main import soakwitness
from soakwitness.firmware_bridge.connecting.furnace_file import load_furnace, parse_furnace, template
from soakwitness.firmware_bridge.furnace.sensors_and_links import Furnace
from soakwitness.firmware_bridge.links.checksums import checksum
from tests.wires import pymodbus_server, wire

pseudo_terminals = pytest.mark.skipif(os.name != "posix", reason="needs pseudo-terminals")


def run(*words: str, typed: str | None = None) -> Result:
    return CliRunner().invoke(soakwitness, ["furnace", *words], input=typed)


def run_for_real(*words: str) -> subprocess.CompletedProcess[str]:
    """Run in a process of its own, as a person does: errors become one line and an exit status."""
    command = [sys.executable, "-c", "from soakwitness.cli.main import main; main()", "furnace", *words]
    return subprocess.run(command, capture_output=True, text=True, check=False)


@pytest.mark.parametrize("link", ["modbus", "lines", "simulated"])
def test_new_writes_a_file_that_check_understands(tmp_path: Path, link: str) -> None:
    path = tmp_path / "furnace.toml"
    made = run("new", str(path), "--link", link)
    assert (made.exit_code, made.stdout) == (0, f"{path}\n")
    assert load_furnace(path).link.kind == link
    checked = run("check", str(path))
    assert checked.exit_code == 0
    assert 'Sensor "control" (role control)' in checked.stdout
    assert json.loads(run("check", str(path), "--json").stdout)["columns"][0] == "control"


def test_new_without_a_file_prints_it() -> None:
    assert parse_furnace(run("new", "--link", "lines").stdout, "stdout").link.kind == "lines"


def test_new_replaces_nothing_unless_forced(tmp_path: Path) -> None:
    path = tmp_path / "furnace.toml"
    path.write_text("mine")
    refused = run("new", str(path), "--link", "modbus")
    assert refused.exit_code == 2
    assert "--force" in refused.stderr
    assert path.read_text() == "mine"
    assert run("new", str(path), "--link", "modbus", "--force").exit_code == 0
    assert run("new", str(tmp_path / "furnace.txt"), "--link", "modbus").exit_code == 2
    assert run("new").exit_code == 2


@pytest.mark.parametrize("name", ["x" * 300 + ".toml", "loop.toml/y.toml"])
def test_a_file_that_cannot_be_written_is_one_line_and_exit_status_2(tmp_path: Path, name: str) -> None:
    (tmp_path / "loop.toml").symlink_to("loop.toml")
    refused = run("new", str(tmp_path / name), "--link", "modbus")
    assert refused.exit_code == 2
    assert refused.stderr.count("\n") == 1


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_a_full_disk_is_one_line_and_exit_status_2(tmp_path: Path) -> None:
    (tmp_path / "full.toml").symlink_to("/dev/full")
    refused = run("new", str(tmp_path / "full.toml"), "--link", "modbus", "--force")
    assert (refused.exit_code, "No space left" in refused.stderr) == (2, True)


@pytest.mark.parametrize(("value", "noted"), [("3276.7", True), ("65535", True), ("32767", False)])
def test_check_says_which_fault_value_can_never_come(tmp_path: Path, value: str, noted: bool) -> None:
    path = tmp_path / "furnace.toml"
    path.write_text(template("modbus").replace("[32767, -32768]", f"[{value}]"), encoding="utf-8")
    assert (f"never has the fault value {value}" in run("check", str(path)).stdout) == noted


def test_check_gives_notes_on_what_is_allowed_but_doubtful(tmp_path: Path) -> None:
    path = tmp_path / "furnace.toml"
    path.write_text(
        'name = "x"\nunit = "C"\n[link]\nkind = "modbus"\nport = "/dev/none"\ntimeout_s = 2\n'
        '[[sensor]]\nname = "a"\nrole = "ambient"\ntable = "holding"\nregister = 40101\n'
        '[[sensor]]\nname = "b"\nrole = "survey"\ntable = "holding"\nregister = 40101\n'
    )
    notes = [line for line in run("check", str(path)).stdout.splitlines() if line.startswith("Look at: ")]
    for words in ("/dev/none is not there", "timeout_s smaller", "register = 100", "same place", "soak", "[alarm]"):
        assert any(words in note for note in notes), words


def test_a_wrong_file_is_one_line_and_exit_status_2(tmp_path: Path) -> None:
    path = tmp_path / "furnace.toml"
    path.write_text('name = "x"\nunit = "K"\n')
    for words in (["check", str(path)], ["read", str(path)], ["check", str(tmp_path / "none.toml")]):
        answer = run_for_real(*words)
        assert (answer.returncode, answer.stdout) == (2, "")
        assert answer.stderr.startswith("Error: ")
        assert answer.stderr.count("\n") == 1


def test_read_from_a_missing_port_is_exit_status_2(tmp_path: Path) -> None:
    path = tmp_path / "furnace.toml"
    path.write_text(run("new", "--link", "modbus").stdout.replace("/dev/ttyUSB0", str(tmp_path / "none")))
    answer = run_for_real("read", str(path))
    assert answer.returncode == 2
    assert "missing" in answer.stderr
    assert "soakwitness ports" in answer.stderr


def test_read_from_the_simulated_furnace(tmp_path: Path) -> None:
    path = tmp_path / "furnace.toml"
    run("new", str(path), "--link", "simulated")
    path.write_text(path.read_text().replace('speaks = "modbus"', 'speaks = "modbus"\nstart = 100\nnoise = 0'))
    answer = json.loads(run("read", str(path), "--json", "--unit", "F").stdout)
    assert answer["values"]["control"] == pytest.approx(212.0, abs=1.0)  # 100 C x 1.8 + 32
    assert answer["values"]["output"] in (0.0, 100.0)
    words = run("read", str(path)).stdout
    assert "°C" in words
    assert "door: at rest (door)" in words


@pseudo_terminals
def test_questions_lead_to_a_modbus_file_by_a_trial_reading(tmp_path: Path) -> None:
    simulator = pytest.importorskip("pymodbus.simulator")
    data = [simulator.SimData(3, values=[10503], datatype=simulator.DataType.INT16)]
    first = "shed\nmodbus\nC\n{}\n115200\nnone\n1\nholding\n9\nint16\n1\ncontrol\n"  # register 9 is not there
    again = "y\ny\n\n\n\n\n3\n\n\n\ny\n"  # the decimal place was said before
    path = tmp_path / "furnace.toml"
    with wire(tmp_path) as line, pymodbus_server(line.far, (data, data)):
        answer = run("new", str(path), "--ask", typed=first.format(line.near) + again)
    assert answer.exit_code == 0
    assert "That did not work." in answer.stderr
    assert "control: 1050.3 °C" in answer.stderr
    found = load_furnace(path)
    assert (found.name, found.sensors[0].source.register, found.sensors[0].scale) == ("shed", 3, 0.1)  # type: ignore[union-attr]


def asked_while_it_sends(tmp_path: Path, sent: bytes, typed: str) -> Result:
    """Answer the questions while an instrument sends the same line again and again."""
    stop = threading.Event()
    with wire(tmp_path) as line, open(line.far, "wb", buffering=0) as instrument:

        def talk() -> None:
            while not stop.wait(0.01):
                instrument.write(sent)

        thread = threading.Thread(target=talk)
        thread.start()
        answer = run("new", "--ask", "--link", "lines", typed=typed.format(line.near))
        stop.set()
        thread.join()
    return answer


def written(answer: Result) -> Furnace:
    """The file on stdout, ahead of which click before 8.4 repeats what a test typed."""
    return parse_furnace(answer.stdout[answer.stdout.index("# Furnace file") :], "stdout")


@pseudo_terminals
def test_questions_lead_to_a_lines_file_by_listening(tmp_path: Path) -> None:
    body = "SHED,7,open,800.5"
    sentence = f"${body}*{checksum('xor', body.encode())[0]:02X}\r\n".encode()
    answer = asked_while_it_sends(tmp_path, sentence, "shed\nC\n{}\n\n\n4\n\ny\n")
    assert answer.exit_code == 0
    assert "(checksum: xor)" in answer.stderr
    assert "control: 800.5 °C" in answer.stderr
    found = written(answer)
    assert (found.link.checksum, found.link.separator) == ("xor", ",")
    assert found.sensors[0].source.field == 4  # type: ignore[union-attr]


@pseudo_terminals
def test_decimal_commas_do_not_part_the_fields(tmp_path: Path) -> None:
    answer = asked_while_it_sends(tmp_path, b"23,5;812,5;20,1\r\n", "shed\nC\n{}\n\n\n2\n\n\n")
    assert "control: 812.5 °C" in answer.stderr
    assert written(answer).link.separator == ";"


@pseudo_terminals
def test_a_trial_without_a_number_is_not_taken_for_right_and_points_to_the_pattern(tmp_path: Path) -> None:
    answer = asked_while_it_sends(tmp_path, "T1: 812.5°C\r\n".encode(), "shed\nC\n{}\n\n\n1\n\n\nn\n")
    assert 'no reading, the line says "T1: 812.5°C"' in answer.stderr
    assert "needs a pattern" in answer.stderr
    assert "Is that what the instrument shows? [y/N]" in answer.stderr


@pseudo_terminals
def test_what_is_no_text_is_not_asked_about(tmp_path: Path) -> None:
    answer = asked_while_it_sends(tmp_path, b"\x1b\xf0\x81\x0e\n", "shed\nC\n{}\n\n\nn\n")
    assert "check baud and parity" in answer.stderr
    assert "Which field" not in answer.stderr
    assert "\x1b" not in answer.stderr


@pytest.mark.parametrize(
    ("line", "answers", "says"),
    [
        (b"100,3\n", "one\n\n", "control: 100.3 °C"),
        (b"100,3\n", "two\n1\n", "control: 100 °C"),
        (b"1,012 C\n", "1\n1012\n", "control: 1012 °C"),
        (b"1,012 C\n", "1\n1.012\n", "control: 1 °C"),
    ],
)
def test_a_comma_that_may_mean_two_things_is_asked_about(tmp_path: Path, line: bytes, answers: str, says: str) -> None:
    answer = asked_while_it_sends(tmp_path, line, f"shed\nC\n{{}}\n\n\n{answers}\ny\n")
    assert says in answer.stderr, answer.stderr
