"""The guide documents every command, every key that a person writes, and its examples run.

Commands and keys are read from the code itself, so that a new one without its words in the guide fails here.

Marks in the pages: an indented line that begins with ``$ `` is executed, in page order, in one folder that has
``sample_logs`` beside; ``# exit 3`` at its end is the exit status wanted. A sentence that ends with "`NAME`:" before an
indented block says that the block is the file NAME, and so it is written there.
"""

import ast
import inspect
import re
import shlex
import shutil
import sys
import textwrap
from collections.abc import Iterable, Iterator
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any, get_args

import click
import pytest

from soakwitness.analysis.calibration.measured_pairs import paired_readings as readings
from soakwitness.analysis.calibration.measured_pairs import reference
from soakwitness.analysis.importing import marks as written_marks
from soakwitness.analysis.metallurgy import published_treatments as steels
from soakwitness.analysis.packet import packet_file
from soakwitness.analysis.packet.piece import PEAK_C
from soakwitness.analysis.recipes import recipe_file
from soakwitness.analysis.verification.results.verification import FINDING_CODES
from soakwitness.analysis.waiting.waiting_acts import KINDS as WAITING_KINDS
from soakwitness.cli.commands.sensor import EXAMPLES
from soakwitness.cli.guide.pages import ABOUT, ORDER, fitting_pages, page_text, page_titles
from soakwitness.cli.main import COMMANDS, soakwitness
from soakwitness.cli.options.common import run_main
from soakwitness.cli.terminal.attending import KEYS
from soakwitness.cli.words import cautions
from soakwitness.firmware_bridge import errors
from soakwitness.firmware_bridge.connecting import furnace_file
from soakwitness.firmware_bridge.furnace import link_keys as linktable
from soakwitness.firmware_bridge.furnace import rack
from soakwitness.firmware_bridge.furnace import register_and_field_keys as sources
from soakwitness.firmware_bridge.furnace.sensors_and_links import ROLES, Alarm
from soakwitness.firmware_bridge.recording.alarms import KINDS, Alarms
from soakwitness.firmware_bridge.recording.recorder import Recording
from soakwitness.firmware_bridge.runfolder.contents import ACTS
from soakwitness.firmware_bridge.simulated import settings
from soakwitness.firmware_bridge.simulated.scenario import FAULTS

ROOT = Path(__file__).resolve().parents[2]
PAGES = {name: page_text(name) for name in ORDER}
LONGEST_PAGE, WIDEST_LINE = 90, 100

# ---------------------------------------------------------------- what the pages say


def blocks(page: str) -> Iterator[tuple[str, list[str]]]:
    """Indented blocks of a page, each with the line of text before it."""
    before, block = "", []
    for line in [*page.splitlines(), "end"]:
        if line.startswith("    ") or (block and not line.strip()):
            block.append(line[4:])
            continue
        if block:
            yield before, "\n".join(block).rstrip().split("\n")
            block = []
        before = line if line.strip() else before


def documented(page: str) -> set[str]:
    """Words that a page explains or shows as code.

    They stand in backticks, or at the begin of a line of an indented block: before " = ", or before two blanks, where
    commas part several.
    """
    found = {word.strip("[]").removeprefix("link.") for word in re.findall(r"`([^`]+)`", page)}
    for _, block in blocks(page):
        for line in block:
            head = re.split(r"\s{2,}| = ", line.strip(), maxsplit=1)[0]
            found |= {word.strip('[]"') for word in [head, *re.split(r", ", head), *re.split(r",? |,", head)]}
    return found


def code(page: str) -> str:
    """All code of a page."""
    lines = [line for _, block in blocks(page) for line in block]
    return "\n".join([*lines, *re.findall(r"`([^`]+)`", page)])


def missing(wanted: Iterable[str], *names: str) -> list[str]:
    """What is wanted and stands in none of these pages."""
    there = set().union(*(documented(PAGES[name]) for name in names))
    return sorted(set(wanted) - there)


def test_every_page_is_listed_and_every_listed_page_is_there() -> None:
    folder = ROOT / "cli" / "guide"
    assert {path.stem for path in folder.glob("*.md")} == set(ORDER)
    assert [name for name, _ in page_titles()] == list(ORDER)
    assert all(PAGES[name].startswith("# ") for name in ORDER)


@pytest.mark.parametrize("name", ORDER)
def test_pages_are_short_enough_for_a_terminal(name: str) -> None:
    lines = PAGES[name].splitlines()
    assert len(lines) <= LONGEST_PAGE
    assert [line for line in lines if len(line) > WIDEST_LINE] == []


@pytest.mark.parametrize("name", ORDER)
def test_pages_named_in_a_page_are_there(name: str) -> None:
    named = set(re.findall(r"\*([a-z][a-z-]*)\*", PAGES[name])) | set(re.findall(r"\(page ([a-z-]+)\)", PAGES[name]))
    assert named <= set(ORDER), "a word in asterisks is a page"


# ---------------------------------------------------------------- commands


def all_commands() -> list[tuple[str, click.Command]]:
    """Every command and subcommand with its whole name, as the program itself has them."""
    context = click.Context(soakwitness)
    found: list[tuple[str, click.Command]] = []
    for name in COMMANDS:
        command = soakwitness.get_command(context, name)
        assert command is not None, name
        if not isinstance(command, click.Group):
            found.append((name, command))
            continue
        for sub in command.list_commands(context):
            inner = command.get_command(context, sub)
            assert inner is not None
            found.append((f"{name} {sub}", inner))
    return found


def test_every_command_stands_in_its_page() -> None:
    assert set(ABOUT) == set(COMMANDS)
    lost = [
        name
        for name, _ in all_commands()
        if not re.search(rf"soakwitness {name}(?![\w-])", code(PAGES[ABOUT[name.split()[0]]]))
        and not any(re.search(rf"soakwitness {name}(?![\w-])", code(page)) for page in PAGES.values() if " " in name)
    ]
    assert lost == []


def test_every_command_has_help_with_an_example() -> None:
    groups = [(name, soakwitness.get_command(click.Context(soakwitness), name)) for name in COMMANDS]
    for name, command in [*all_commands(), *groups, ("", soakwitness)]:
        text = inspect.cleandoc((command.help if command else None) or "")
        assert re.search(r"^Example: soakwitness( |$)", text, re.MULTILINE), name
        assert len(text.splitlines()[0]) > 15, name


@pytest.mark.parametrize(
    ("topic", "pages"),
    [
        ("recipe", ["recipe"]),
        ("first run", ["first-run"]),
        ("FURNACE_FILE", ["furnace-file"]),
        ("mem", ["memory-logger"]),
        ("record", ["first-run"]),
        ("calibrate", ["calibration"]),
        ("nothing of the kind", []),
    ],
)
def test_a_page_is_found_by_its_name_its_beginning_or_a_command(topic: str, pages: list[str]) -> None:
    assert fitting_pages(topic) == pages


def run_line(words: list[str], monkeypatch: pytest.MonkeyPatch) -> int:
    """Run the program as the console command does; return its exit status."""
    monkeypatch.setattr(sys, "argv", words)
    return run_main(soakwitness)


def test_the_command_shows_pages(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    assert run_line(["soakwitness", "guide", "marks"], monkeypatch) == 0
    assert capsys.readouterr().out == PAGES["marks"]
    assert run_line(["soakwitness", "guide"], monkeypatch) == 0
    shown = capsys.readouterr().out
    assert all(f"  {name} " in shown for name in ORDER)


@pytest.mark.parametrize(
    ("topic", "says"), [("nonsense", "No page 'nonsense'. There are: start"), ("s", "Several pages fit 's': start")]
)
def test_the_command_refuses_what_it_cannot_find(
    topic: str, says: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run_line(["soakwitness", "guide", topic], monkeypatch) == 2
    assert says in capsys.readouterr().err


# ---------------------------------------------------------------- keys, read from the code

ASKING = {"text", "choice", "required", "number", "whole", "flag", "numbers", "words", "word_or_number", "value"}
ASKING |= {"table", "tables"}
TABLES = {"table", "top", "parent"}


def asked(tree: ast.AST) -> set[str]:
    """Keys that code asks a table of a TOML file for.

    ``table.number("scale")`` and calls that are handed a table and a key, such as ``_celsius(table, "over", unit)``;
    ``before + "minutes"`` counts for each ``before`` that is handed on; defaults of ``..._key`` parameters count.
    """
    keys, begins, ends = set(), set(), set()
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            names = [arg.arg for arg in node.args.args][len(node.args.args) - len(node.args.defaults) :]
            keys |= {
                default.value
                for name, default in zip(names, node.args.defaults, strict=True)
                if name.endswith("key") and isinstance(default, ast.Constant)
            }
        if not isinstance(node, ast.Call):
            continue
        method = node.func.attr if isinstance(node.func, ast.Attribute) else None
        called = method or getattr(node.func, "id", "")
        handed = bool(node.args) and isinstance(node.args[0], ast.Name) and node.args[0].id in TABLES
        texts = [arg.value for arg in node.args if isinstance(arg, ast.Constant) and isinstance(arg.value, str)]
        if method == "unit":
            keys.add("unit")
        elif called == "moment":
            begins |= {*texts}
        elif (method in ASKING and node.args and isinstance(node.args[0], ast.Constant)) or called == "_or":
            keys |= {*texts[:1]}
        elif method in ASKING and node.args and isinstance(node.args[0], ast.BinOp):
            assert isinstance(node.args[0].right, ast.Constant)
            ends.add(node.args[0].right.value)
        elif handed and called not in ("_check_size",):
            keys |= {*texts[:2]} if called == "_line_source" else {*texts[:1]}
    return {key for key in keys if isinstance(key, str)} | {begin + end for begin in begins for end in ends}


def tree_of(module: ModuleType) -> ast.Module:
    return ast.parse(inspect.getsource(module))


def keys_of_functions(module: ModuleType, names: Iterable[str] | None = None, but: Iterable[str] = ()) -> set[str]:
    """Keys asked for in some functions of a module (all of them unless named)."""
    functions = [node for node in ast.walk(tree_of(module)) if isinstance(node, ast.FunctionDef)]
    chosen = [f for f in functions if (names is None or f.name in names) and f.name not in but]
    assert names is None or {f.name for f in chosen} >= set(names), f"{module.__name__} has lost a function"
    return asked(ast.Module(body=[*chosen], type_ignores=[]))


SENSOR_FUNCTIONS = ("_sensor", "_signal", "_contact", "_name")


def test_the_reader_of_keys_sees_each_way_of_asking() -> None:
    """Spot checks that the collector itself works; the keys are those that the furnace file's templates show."""
    sensor = keys_of_functions(furnace_file, SENSOR_FUNCTIONS) | keys_of_functions(sources)
    assert {"scale", "register", "format", "group", "field", "fault_field", "fault_group", "closed_is"} <= sensor
    top = keys_of_functions(furnace_file, but=SENSOR_FUNCTIONS) | keys_of_functions(linktable)
    assert {"name", "unit", "every_s", "max_temp", "over", "silent_s", "port", "unit_id", "sequence"} <= top
    assert {"load_after_step", "pull_minutes", "room", "piece", "set_as", "integral_s"} <= keys_of_functions(settings)


def test_every_key_of_a_furnace_file() -> None:
    keys = keys_of_functions(furnace_file, but=SENSOR_FUNCTIONS) | keys_of_functions(linktable)
    keys -= {"speaks"}  # of a simulated link, below
    keys |= {*furnace_file._TABLES, *furnace_file._ARRAYS}
    assert missing(keys, "furnace-file") == []
    keys = keys_of_functions(furnace_file, SENSOR_FUNCTIONS) | keys_of_functions(sources)
    assert missing(keys, "sensors") == []
    assert missing(keys_of_functions(settings) - {"kind"}, "simulated") == []


def test_every_word_that_a_furnace_file_allows() -> None:
    in_file = code(PAGES["furnace-file"])
    for word in (*linktable.LINK_KINDS, *linktable.CHECKSUMS, "none", "even", "odd", "rtu", "ascii"):
        assert f'"{word}"' in in_file, word
    in_sensors = code(PAGES["sensors"])
    words = (*ROLES, *sources.NUMBER_FORMATS, *furnace_file.MEANINGS, *furnace_file.TOLERANCE_CLASSES)
    for word in (*words, "input", "holding", "high first", "low first"):
        assert f'"{word}"' in in_sensors, word
    assert " ".join(furnace_file.THERMOCOUPLES) in in_sensors
    assert missing(FAULTS, "simulated") == []


def test_every_key_and_word_of_a_recipe() -> None:
    keys = {*recipe_file.TOP_KEYS, *recipe_file.RAMP_KEYS, *recipe_file.HOLD_KEYS}
    for node in ast.walk(tree_of(recipe_file)):
        if isinstance(node, ast.Call) and getattr(node.func, "attr", "") == "check_keys":
            keys |= {
                item.value
                for item in getattr(node.args[0], "elts", ())
                if isinstance(item, ast.Constant) and isinstance(item.value, str)
            }
    assert {"heated_faces", "cool_within_s", "extra_minutes", "as_quenched"} <= keys  # the collector works
    assert missing(keys, "recipe") == []
    for word in (*recipe_file.ORDER_WORDS, "cold", "hot", "reading", "mean", "true temperature", "work", "control"):
        assert f'"{word}"' in code(PAGES["recipe"]), word


def test_every_kind_of_what_waits() -> None:
    assert missing(WAITING_KINDS, "today") == []


def test_every_key_of_the_other_files() -> None:
    assert missing({*reference.KEYS, *reference.POINT_KEYS}, "calibration") == []
    assert missing(readings.COLUMNS, "calibration") == []
    assert missing({*packet_file.KEYS, *packet_file.FIGURES, *packet_file.TABLES}, "packet") == []
    assert all(f'"{group}"' in PAGES["packet"] for group in PEAK_C)
    assert missing(rack.KEYS, "rack") == []
    assert missing((*steels.COLUMNS, *steels.MORE_COLUMNS, *steels.WHATS), "steels") == []


def cells_read(tree: ast.AST) -> set[str]:
    """Columns that code takes out of a row of a table: ``row.get("act")`` or ``row["act"]``."""
    found = set()
    for node in ast.walk(tree):
        value, key = None, None
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "get":
            value, key = node.func.value, node.args[0]
        elif isinstance(node, ast.Subscript):
            value, key = node.value, node.slice
        if isinstance(value, ast.Name) and value.id in ("row", "cells") and isinstance(key, ast.Constant):
            found.add(str(key.value))
    return found


def test_every_column_of_the_tables_that_a_person_writes() -> None:
    columns = cells_read(tree_of(written_marks))
    assert columns >= {"time", "act"}
    assert missing(columns, "memory-logger") == []
    assert missing(piece_columns(), "pieces") == []


def piece_columns() -> set[str]:
    """Columns of ``piece add --file``, as its help names them."""
    add = next(command for name, command in all_commands() if name == "piece add")
    told = next(p.help for p in add.params if isinstance(p, click.Option) and "--file" in p.opts and p.help)
    words = set(re.findall(r"[a-z_]+", told.split("column", 1)[1])) - {"and", "as", "needed", "s"}
    assert words >= {"piece", "steel", "lot", "thickness_mm"}
    return words


def test_environment_variables() -> None:
    told: list[dict[str, str]] = []

    def starter(_: tuple[str, ...], facts: Any) -> Any:
        told.append(dict(facts))
        return SimpleNamespace(poll=lambda: 0, kill=lambda: None)

    now = SimpleNamespace(values={"name": 20.0}, run=Path("20261125T071502Z_shed_4f1a"))
    stub = SimpleNamespace(now=lambda: now, furnace=SimpleNamespace(name="shed", unit="C"))
    clock: Any = SimpleNamespace(monotonic=lambda: 0.0)
    alarms = Alarms(Alarm(command=("true",)), clock, bell=lambda: None, starter=starter)
    alarms.set("sensor fault", "it is open", Recording._facts(stub))  # type: ignore[arg-type]
    names = {name.replace("READING_NAME", "READING_<NAME>") for name in told[0]}
    assert names >= {"SOAKWITNESS_SAYS", "SOAKWITNESS_READING_<NAME>"}
    assert missing(names, "alarms") == []
    assert [kind for kind in KINDS if kind not in " ".join(PAGES["alarms"].split())] == ["over-temperature"]
    commands = [param for _, command in all_commands() for param in command.params]
    elsewhere = {param.envvar for param in commands if isinstance(param.envvar, str)}
    assert missing(elsewhere, "files") == []


def test_acts_keys_and_examples() -> None:
    assert missing(ACTS, "marks") == []
    assert missing(set(KEYS) - {" "}, "marks") == []
    assert missing(set(KEYS) - {" "}, "first-run") == []
    assert missing(EXAMPLES, "thermocouples") == []
    assert missing(get_args(errors.LinkReason), "wiring") == []


# ---------------------------------------------------------------- findings and cautions


def test_every_finding_has_its_line() -> None:
    rows = dict(re.findall(r"^\| `([^`]+)` \| (.+?) \|$", PAGES["verify"], re.MULTILINE))
    assert set(rows) == set(FINDING_CODES)
    assert all(len(meaning) > 15 for meaning in rows.values())


def test_every_caution_stands_in_its_page() -> None:
    page = re.sub(r"\s+", " ", PAGES["cautions"].replace("\n- ", "\n"))
    sentences: list[str] = []
    for value in vars(cautions).values():
        sentences += [value] if isinstance(value, str) and value.endswith(".") and " " in value else []
        sentences += [text for text in value if isinstance(text, str)] if isinstance(value, tuple) else []
    sentences = [s for s in sentences if s != cautions.__doc__]
    assert len(sentences) >= 12
    assert [s for s in sentences if s not in page] == []


# ---------------------------------------------------------------- examples run


def examples(page: str) -> Iterator[tuple[str, str]]:
    """What a page does, in order: ("file NAME", text) and ("run", line)."""
    for before, block in blocks(page):
        name = re.search(r"`([\w-]+\.\w+)`:?$", before)
        if name and not block[0].startswith("$ "):
            yield f"file {name[1]}", textwrap.dedent("\n".join(block)) + "\n"
            continue
        for line in "\n".join(block).replace("\\\n", " ").splitlines():
            if line.startswith("$ "):
                yield "run", line[2:]


def do(line: str, monkeypatch: pytest.MonkeyPatch) -> str | None:
    """Do one line; say what is wrong with it, if anything."""
    text, _, remark = line.partition("  # ")
    wanted = int(remark.removeprefix("exit ")) if remark.startswith("exit ") else 0
    words = shlex.split(text)
    if words[0] == "cp":
        shutil.copytree(words[2], Path(words[3]) / Path(words[2]).name)
        return None
    assert words[0] == "soakwitness", line
    status = run_line(words, monkeypatch)
    return None if status == wanted else f"{line}: exit status {status}"


def test_examples_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    shutil.copytree(ROOT / "sample_logs", tmp_path / "sample_logs", ignore=shutil.ignore_patterns("pictures"))
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("SOAKWITNESS_LOGBOOK", "soakwitness-logbook")
    monkeypatch.setenv("SOAKWITNESS_USER", "smith")
    wrong, ran = [], 0
    for name in ORDER:
        for kind, text in examples(PAGES[name]):
            if kind != "run":
                Path(kind.removeprefix("file ")).write_text(text, encoding="utf-8")
                continue
            ran += 1
            trouble = do(text, monkeypatch)
            if trouble:
                wrong.append(f"{name}: {trouble}\n{''.join(capsys.readouterr())[-600:]}")
            capsys.readouterr()
    assert "\n".join(wrong) == ""
    assert ran > 80


def test_examples_are_cheap_and_touch_no_hardware() -> None:
    lines = [text for page in PAGES.values() for kind, text in examples(page) if kind == "run"]
    assert not [line for line in lines if re.search(r"soakwitness demo|--follow|--ask|--write", line)]
    assert all("--install" in line for line in lines if "soakwitness watch" in line)
    assert all("--for" in line for line in lines if "soakwitness record" in line)
