"""Furnace files: what is understood, and that every mistake is answered with its place, value and what is allowed."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soakwitness.firmware_bridge.connecting.furnace_file import load_furnace, parse_furnace, template
from soakwitness.firmware_bridge.errors import FurnaceFileError
from soakwitness.firmware_bridge.furnace.rack import Rack, rack_in
from soakwitness.firmware_bridge.furnace.sensors_and_links import LineSource, ModbusSource

MODBUS = """\
name = "back shed"
unit = "F"

[sample]
every_s = 0.5

[link]
kind = "modbus"
port = "COM3"
parity = "even"
timeout_s = 0.3

[[sensor]]
name = "control"
role = "control"
table = "holding"
register = 7
scale = 0.1
fault_values = [32767, -32768]
thermocouple = "K"
tolerance_class = 2

[[sensor]]
name = "load"
role = "load"
table = "input"
register = 20
format = "float32"
word_order = "low first"
thickness_mm = 3.2
fault_register = 30
fault_words = ["open circuit", ""]

[[signal]]
name = "setpoint"
table = "holding"
register = 8

[[contact]]
name = "door"
table = "input"
register = 31
bit = 4
closed_is = 0

[limits]
max_temp = 2372
min_temp = 14
max_rate_per_s = 36

[alarm]
over = 2012
command = ["bell", "now"]
"""

LINES = """\
name = "lines"
unit = "C"
[link]
kind = "lines"
port = "socket://192.0.2.7:4001"
checksum = "xor"
sequence = 1
[[sensor]]
name = "work"
role = "recording"
field = 2
fault_field = 3
"""


def changed(text: str, old: str, new: str) -> str:
    assert text.count(old) >= 1
    return text.replace(old, new, 1)


def complaint(text: str) -> str:
    with pytest.raises(FurnaceFileError) as caught:
        parse_furnace(text, "f.toml")
    assert caught.value.exit_code == 2
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_a_modbus_file_is_understood() -> None:
    furnace = parse_furnace(MODBUS, "f.toml")
    assert furnace.columns == ("control", "load", "setpoint", "door")
    assert (furnace.link.parity, furnace.link.baud, furnace.link.timeout_s) == ("E", 9600, 0.3)
    control, load = furnace.sensors
    assert control.source == ModbusSource("holding", 7, "int16")
    assert control.fault_values == (32767.0, -32768.0)
    assert (control.tolerance_class, control.resolution) == ("2", 0.1)
    assert load.source == ModbusSource("input", 20, "float32", "low first")
    assert load.fault_source == ModbusSource("input", 30, "uint16")
    assert load.fault_words == ("open circuit", "")
    assert load.resolution is None
    assert furnace.contacts[0].source == ModbusSource("input", 31, "uint16", bit=4)
    assert furnace.text == MODBUS
    assert furnace.every_s == 0.5


def test_limits_and_alarm_are_in_the_files_unit_on_paper_and_celsius_in_the_model() -> None:
    # (F - 32) / 1.8: 2372 F is 1300 C, 14 F is -10 C, 2012 F is 1100 C; a rate is a difference: 36 F/s is 20 C/s
    furnace = parse_furnace(MODBUS, "f.toml")
    assert furnace.limits.max_temp_c == pytest.approx(1300.0)
    assert furnace.limits.min_temp_c == pytest.approx(-10.0)
    assert furnace.limits.max_rate_c_per_s == pytest.approx(20.0)
    assert furnace.alarm.over_c == pytest.approx(1100.0)


def test_a_lines_file_is_understood() -> None:
    furnace = parse_furnace(LINES, "f.toml")
    assert furnace.link.separator == ","
    assert furnace.link.sequence == LineSource(field=1)
    assert furnace.sensors[0].source == LineSource(field=2)
    assert furnace.sensors[0].fault_source == LineSource(field=3)
    text = changed(LINES, "sequence = 1", "pattern = 'n(?P<n>[0-9]+) T(?P<t>[0-9.]+) f(?P<f>[0-9])'\nsequence = 'n'")
    text = changed(changed(text, "fault_field = 3", "fault_group = 'f'"), "field = 2", 'group = "t"')
    assert parse_furnace(text, "f.toml").sensors[0].source == LineSource(group="t")


@pytest.mark.parametrize(
    ("old", "new", "parts"),
    [
        ('unit = "F"', 'unit = "K"', ["line 2", ", unit", '"K"', '"C", "F"']),
        ('unit = "F"', "", [", unit", "missing", '"C", "F"']),
        ('name = "back shed"', "name = 7", ["line 1", ", name", "7", "text in quotes"]),
        ("every_s = 0.5", "every_s = 0", ["line 5", "[sample]", ", every_s", "from 0.05 to 3600"]),
        ("every_s = 0.5", 'every_s = "1 s"', ["line 5", '"1 s"', "without quotes or unit"]),
        ("every_s = 0.5", "every_s = nan", ["line 5", "nan", "must be from 0.05 to 3600"]),
        ("every_s = 0.5", "every_s = true", ["line 5", "true", "a number"]),
        ("every_s = 0.5", "evry_s = 0.5", ["line 5", ", evry_s", "Did you mean every_s?"]),
        ('kind = "modbus"', 'kind = "modbuss"', ["line 8", '"modbuss"', "Did you mean modbus?", '"simulated"']),
        ('port = "COM3"', "", ["line 7", "[link]", ", port", "missing", "COM3"]),
        ('port = "COM3"', 'port = "tcp://a:1"', ["line 9", '"tcp://a:1"', "socket://HOST:PORT"]),
        ('port = "COM3"', 'port = "socket://a:70000"', ["line 9", "socket://HOST:PORT"]),
        ('port = "COM3"', 'port = "COM3"\nbaud = 9600.5', ["line 10", "9600.5", "50 to 4000000"]),
        ('port = "COM3"', 'port = "COM3"\ndata_bits = 7', ["line 10", "RTU"]),
        ('port = "COM3"', 'port = "COM3"\nunit_id = 248', ["line 10", "248", "1 to 247"]),
        ('port = "COM3"', 'port = "COM3"\nrequest = "?"', ["line 10", ", request", "unknown"]),
        ("register = 7", "register = 70000", ["line 17", "[[sensor]] 1", ", register", "70000", "0 to 65535"]),
        ("register = 20", "register = 65535", ["line 27", "[[sensor]] 2", ", register", "0 to 65534"]),
        ("register = 20\n", "", ["line 23", "[[sensor]] 2", ", register", "missing", "on the wire"]),
        ("register = 8", "regster = 8", ["[[signal]] 1", ", register", "missing"]),
        ("register = 8", "register = 8\nrol = 1", ["[[signal]] 1", ", rol", "unknown"]),
        ('format = "float32"', 'format = "float64"', ["line 28", '"float64"', '"int16", "uint16", "int32"']),
        ('word_order = "low first"', 'word_order = "big"', ["line 29", '"big"', '"high first", "low first"']),
        ('table = "input"', 'table = "coil"', ["line 26", '"coil"', '"input", "holding"']),
        ('role = "load"', 'role = "work"', ["line 25", '"work"', '"control"', '"over-temperature"']),
        ('role = "load"', 'role = "control"', ["line 30", ", thickness_mm", 'role = "load"']),
        ('name = "load"', 'name = "control"', ["line 24", '"control"', "[[sensor]] 1"]),
        ('name = "load"', 'name = "a,b"', ["line 24", '"a,b"', "letters"]),
        ('name = "load"', 'name = "crc"', ["line 24", '"crc"', "samples.csv"]),
        ("scale = 0.1", "scale = 0", ["line 18", ", scale", "0"]),
        ("tolerance_class = 2", "tolerance_class = 3", ["line 21", "3", "1, 2, special, standard"]),
        ('thermocouple = "K"', 'thermocouple = "L"', ["line 20", '"L"', "B, E, J"]),
        ("fault_values = [32767, -32768]", 'fault_values = ["open"]', ["line 19", '"open"', "[32767]"]),
        ("bit = 4", "bit = 16", ["[[contact]] 1", ", bit", "16", "0 to 15"]),
        ("bit = 4", 'bit = 4\nmeans = "open"', [", means", '"open"', '"next"']),
        ("min_temp = 14", "min_temp = 9000", ["[limits]", ", min_temp", "4000"]),
        ("min_temp = 14", "min_temp = 2400", ["[limits]", ", max_temp", "2372", "above min_temp = 2400"]),
        ('command = ["bell", "now"]', 'command = ["", "now"]', [", command", '["", "now"]', "a program first"]),
        ("closed_is = 0", "closed_is = 2", [", closed_is", "2", "0 to 1 for one bit"]),
        ("scale = 0.1", f"scale = 1{400 * '0'}", ["line 18", ", scale", "0x", "a number"]),
        ("fault_values = [32767, -32768]", f"fault_values = [1{400 * '0'}]", ["line 19", "numbers in brackets"]),
        ('command = ["bell", "now"]', 'command = "bell now"', ["[alarm]", ", command", '"bell now"', "brackets"]),
        ("[limits]", "[limit]", [", limit", "unknown", "Did you mean limits?"]),
        ("[[contact]]", "[contact]", [", contact", "[[contact]]", "double brackets"]),
        ("[alarm]", "[[alarm]]", [", alarm", "[alarm]"]),
    ],
)
def test_a_mistake_is_answered_with_place_value_and_what_is_allowed(old: str, new: str, parts: list[str]) -> None:
    says = complaint(changed(MODBUS, old, new))
    assert says.startswith("f.toml")
    for part in parts:
        assert part in says


@pytest.mark.parametrize(
    ("old", "new", "parts"),
    [
        ("field = 2", "field = 0", ["line 11", "[[sensor]] 1", "1 to 999"]),
        ("field = 2\n", "", ["[[sensor]] 1", ", field", "missing"]),
        ("field = 2", "field = 2\nregister = 3", [", register", "unknown"]),
        ("sequence = 1", "separator = ', '", ["line 7", '", "', "one character"]),
        ("sequence = 1", "pattern = '(?P<t>'", ["line 7", "no regular expression"]),
        ("sequence = 1", "pattern = 'T=([0-9]+)'", ["line 7", "no named group"]),
        ("sequence = 1", "pattern = 'T=(?P<t>[0-9]+)'", ["[[sensor]] 1", ", group", "missing", "t"]),
        ("sequence = 1", "sequence = 1\npattern = '(?P<t>.)'", [", sequence", "1", "t"]),
        ("sequence = 1", "separator = ';'\npattern = '(?P<t>.)'", ["line 7", "one of the two"]),
        ('checksum = "xor"', 'checksum = "sum"', ["line 6", '"sum"', '"crc16-modbus"']),
    ],
)
def test_a_mistake_in_a_lines_file_is_answered_too(old: str, new: str, parts: list[str]) -> None:
    says = complaint(changed(LINES, old, new))
    for part in parts:
        assert part in says


def test_a_file_without_link_or_sensor_says_what_it_needs() -> None:
    assert "[link]" in complaint('name = "x"\nunit = "C"\n')
    assert "[[sensor]]" in complaint('name = "x"\nunit = "C"\n[link]\nkind = "lines"\nport = "COM1"\n')
    assert "[link]" in complaint('name = "x"\nunit = "C"\nlink = 3\n')


def test_wrong_toml_is_answered_with_line_and_column() -> None:
    assert complaint('name = back shed\nunit = "C"\n').startswith("f.toml, line 1, column 8: ")
    assert "end of the file" in complaint('name = "x"\nunit = "C')


def test_a_wrong_key_of_a_simulated_furnace_is_found_when_the_file_is_read() -> None:
    assert "line 13, [link], sped = 1" in complaint(template("simulated").replace('speaks = "modbus"', "sped = 1"))


@pytest.mark.parametrize("kind", ["modbus", "lines", "simulated"])
def test_templates_pass_the_parser_also_with_every_hint_switched_on(kind: str) -> None:
    text = template(kind)  # type: ignore[arg-type]
    furnace = parse_furnace(text, "template")
    assert furnace.link.kind == kind
    blocks = [block for block in text.split("\n\n") if not block.startswith("# [")]
    hints = [line for block in blocks for line in block.splitlines() if re.match(r"# [a-z_]+ = ", line)]
    assert len(hints) >= 4
    for hint in hints:
        if hint.startswith("# pattern"):  # stands for another way than the template's separator
            continue
        assert parse_furnace(text.replace(hint, hint[2:], 1), hint).link.kind == kind


@pytest.mark.parametrize("kind", ["modbus", "lines"])
def test_commented_tables_of_a_template_pass_too(kind: str) -> None:
    text = template(kind)  # type: ignore[arg-type]
    blocks = text.split("\n\n")
    for at, block in enumerate(blocks):
        if block.startswith("# ["):
            blocks[at] = "\n".join(line[2:] for line in block.splitlines())
    furnace = parse_furnace("\n\n".join(blocks), "template")
    assert len(furnace.sensors) == 2
    assert len(furnace.contacts) == 1
    assert furnace.rack == Rack(6, 15.0)


def test_values_put_into_a_template_replace_its_own() -> None:
    text = template("modbus", port='"COM9"', unit='"F"', echo="true", over="2000")
    furnace = parse_furnace(text, "template")
    assert (furnace.link.port, furnace.unit, furnace.link.echo) == ("COM9", "F", True)
    assert furnace.alarm.over_c == pytest.approx(1093.3333, abs=1e-3)  # (2000 - 32) / 1.8
    assert "\nunit_id = 1 " in text


def test_a_file_that_is_missing_a_folder_binary_or_huge_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FurnaceFileError, match="no such file.*furnace new"):
        load_furnace(tmp_path / "none.toml")
    with pytest.raises(FurnaceFileError, match="is a folder"):
        load_furnace(tmp_path)
    binary = tmp_path / "b.toml"
    binary.write_bytes(b'name = "x"\n\xff\xfe')
    with pytest.raises(FurnaceFileError, match="line 2: not UTF-8.*0xff"):
        load_furnace(binary)
    binary.write_bytes(b"#" * 1_000_001)
    with pytest.raises(FurnaceFileError, match="not a furnace file"):
        load_furnace(binary)


def test_texts_stand_on_one_line_and_have_an_end() -> None:
    for name in ('"shed\\nfurnace"', '"shed\\u001b[31m"', '"' + 2000 * "a" + '"'):
        says = complaint(f'name = {name}\nunit = "C"\n')
        assert "f.toml, line 1, name = " in says
        assert "on one line, at most 1000 characters" in says
        assert says.isprintable()


def test_brackets_without_end_are_refused() -> None:
    assert "brackets within brackets" in complaint("a = " + 5000 * "[")


def test_a_byte_order_mark_and_windows_line_ends_do_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "w.toml"
    path.write_bytes(b"\xef\xbb\xbf" + MODBUS.replace("\n", "\r\n").encode())
    assert load_furnace(path).columns == ("control", "load", "setpoint", "door")


@settings(max_examples=150, deadline=None)
@given(st.integers(0, len(MODBUS) - 1), st.text(max_size=3))
def test_no_change_of_a_file_ends_in_anything_but_a_furnace_or_its_error(at: int, new: str) -> None:
    text = MODBUS[:at] + new + MODBUS[at + 1 :]
    try:
        furnace = parse_furnace(text, "f.toml")
    except FurnaceFileError as error:
        assert str(error).startswith("f.toml")  # noqa: PT017
    else:
        assert furnace.sensors


def test_a_recipe_is_recognised() -> None:
    with pytest.raises(FurnaceFileError, match="this is a recipe.*soakwitness recipe check harden.toml"):
        parse_furnace('name = "Blades"\nunit = "C"\n[[step]]\nramp = "full power"\nto = 780\n', "harden.toml")


RACK = (
    MODBUS
    + """
[rack]
slots = 6
spacing_mm = 15.5
"""
)


def test_a_rack_is_understood() -> None:
    assert parse_furnace(MODBUS, "f.toml").rack is None
    assert parse_furnace(RACK, "f.toml").rack == Rack(6, 15.5, width_mm=40.0, length_mm=250.0, stands_on="floor")
    whole = RACK + 'width_mm = 35\nlength_mm = 180\nstands_on = "shelf"\n'
    assert rack_in(whole) == parse_furnace(whole, "f.toml").rack == Rack(6, 15.5, 35.0, 180.0, "shelf")


@pytest.mark.parametrize(
    ("old", "new", "parts"),
    [
        ("spacing_mm", "spacing", ["[rack], spacing = 15.5: unknown key", "spacing_mm"]),
        ("slots = 6\n", "", ["[rack], slots: is missing"]),
        ("slots = 6", "slots = 0", ["slots = 0", "from 1 to 30"]),
        ("spacing_mm = 15.5\n", "", ["spacing_mm: is missing"]),
        ("15.5", "0.5", ["spacing_mm = 0.5", "from 1 to 500 mm"]),
        ("15.5", '15.5\nstands_on = "wall"', ['stands_on = "wall"', '"floor", "shelf"']),
    ],
)
def test_a_mistake_in_a_rack_is_answered_with_its_line(old: str, new: str, parts: list[str]) -> None:
    says = complaint(changed(RACK, old, new))
    assert re.search(r"f\.toml, line \d+", says)
    for part in parts:
        assert part in says
    assert rack_in(changed(RACK, old, new)) is None
