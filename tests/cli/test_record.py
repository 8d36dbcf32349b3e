"""``soakwitness record`` as a person meets it: a terminal, a pipe, signals, wrong use."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import click
import pytest

from soakwitness.cli.options.common import run_main
from soakwitness.cli.terminal.attending import Duration, Keys, Screen, Stop
from soakwitness.cli.terminal.person import Person, idle_now
from soakwitness.cli.words.now_words import now_sentence
from soakwitness.firmware_bridge.errors import LinkError
from soakwitness.firmware_bridge.links.base import Reading
from soakwitness.firmware_bridge.recording.linking import Look
from soakwitness.firmware_bridge.recording.now import Now
from soakwitness.firmware_bridge.recording.sampling import Sample
from soakwitness.firmware_bridge.runfolder.reader import check_record, read_events, read_header, read_marks
from tests.fakes import make_furnace
from tests.recorders import Terminal, recorder, run_for_real, simulated_furnace

posix = pytest.mark.skipif(os.name != "posix", reason="needs POSIX signals")

RECIPE = """\
name = "Blades"
unit = "C"
load = "cold"
[[step]]
ramp = "full power"
to = 780
[[step]]
hold_minutes = 10
tolerance = 8
"""


@posix
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_ends_and_seals_the_run(tmp_path: Path, number: int) -> None:
    simulated_furnace(tmp_path)
    with recorder("record", "furnace.toml", cwd=tmp_path) as running:
        assert "no safety device" in running.wait_for("safety")
        running.wait_for(" start: ")
        status, out, err = running.end(number)
    assert status == 0
    assert "Traceback" not in err
    run = tmp_path / out[-1]
    check = check_record(run)
    assert check.sealed
    assert check.intact
    assert check.rows >= 1
    assert read_events(run)[-1].detail == ("SIGTERM" if number == signal.SIGTERM else "Ctrl-C")
    assert read_header(run).origin == "simulated"
    assert out[0].endswith("ago."), "a pipe gets a plain line"


@posix
def test_a_terminal_that_goes_away_does_not_end_the_run(tmp_path: Path) -> None:
    simulated_furnace(tmp_path)
    with recorder("record", "furnace.toml", cwd=tmp_path) as running:
        running.wait_for(" start: ")
        running.child.send_signal(signal.SIGHUP)
        status, out, _ = running.end(signal.SIGTERM)
    assert status == 0
    assert check_record(tmp_path / out[-1]).sealed


@posix
def test_a_second_ctrl_c_stops_at_once_with_130() -> None:
    @click.command()
    def work() -> None:
        with Stop() as stop:
            os.kill(os.getpid(), signal.SIGINT)
            assert stop.why == "Ctrl-C"
            os.kill(os.getpid(), signal.SIGTERM)
            assert stop.why == "Ctrl-C"
            os.kill(os.getpid(), signal.SIGINT)
            raise AssertionError("not stopped")

    before = signal.getsignal(signal.SIGINT)
    argv, sys.argv = sys.argv, ["work"]
    try:
        assert run_main(work) == 130
    finally:
        sys.argv = argv
    assert signal.getsignal(signal.SIGINT) is before


@posix
def test_a_terminal_shows_one_living_sentence_and_takes_keys(tmp_path: Path) -> None:
    simulated_furnace(tmp_path)
    (tmp_path / "recipe.toml").write_text(RECIPE)
    terminal = Terminal("record", "furnace.toml", "--recipe", "recipe.toml", "--unit", "F", cwd=tmp_path)
    try:
        terminal.wait_for("Keys:")
        terminal.wait_for("\r\x1b[JStep 2: ")
        terminal.wait_for("68 °F")
        terminal.type(" ")
        terminal.wait_for("Load (id ")
        terminal.type("nhot spotx\x7f\r")
        terminal.wait_for("Note: hot spot (id ")
        terminal.type("p")
        terminal.wait_for("Pull (id ")
        terminal.wait_for("Next: plates.")
        terminal.type("u")
        terminal.wait_for("struck out: taken back at once")
        terminal.child.send_signal(signal.SIGINT)
        terminal.wait_for("Sealed.")
        assert terminal.child.wait(timeout=60) == 0
    finally:
        terminal.close()
    (run,) = (tmp_path / "soakwitness-logbook" / "runs").iterdir()
    assert [(mark.act, mark.note, mark.by, mark.origin, mark.struck) for mark in read_marks(run)] == [
        ("load", "", "key", "key", False),
        ("note", "hot spot", "key", "key", False),
        ("pull", "", "key", "key", True),
    ]
    assert read_header(run).recipe_name == "Blades"
    assert read_header(run).recipe_file == RECIPE


@posix
def test_a_run_that_was_killed_is_gone_on_with(tmp_path: Path) -> None:
    simulated_furnace(tmp_path)
    with recorder("record", "furnace.toml", cwd=tmp_path) as running:
        running.wait_for(" start: ")
        running.child.kill()
        running.child.wait()
    done = run_for_real("record", "furnace.toml", "--for", "1s", cwd=tmp_path)
    assert done.returncode == 0
    assert "Going on with" in done.stderr
    assert len(list((tmp_path / "soakwitness-logbook" / "runs").iterdir())) == 1
    (resumed,) = (event for event in read_events(tmp_path / done.stdout.splitlines()[-1]) if event.event == "resumed")
    assert resumed.detail.endswith("exact")


@posix
def test_a_second_recorder_is_told_who_has_the_furnace(tmp_path: Path) -> None:
    simulated_furnace(tmp_path)
    with recorder("record", "furnace.toml", cwd=tmp_path) as running:
        running.wait_for(" start: ")
        second = run_for_real("record", "furnace.toml", cwd=tmp_path)
        assert second.returncode == 2
        assert f"process {running.child.pid}" in second.stderr
        assert "Traceback" not in second.stderr
        assert running.end(signal.SIGTERM)[0] == 0


def wrong(tmp_path: Path, *words: str) -> str:
    """stderr of a wrong use: exit 2, no traceback, nothing made."""
    done = run_for_real("record", *words, cwd=tmp_path)
    assert done.returncode == 2, done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "soakwitness-logbook" / "runs").exists()
    return done.stderr


def test_wrong_use_is_one_error_and_status_2(tmp_path: Path) -> None:
    assert "nowhere.toml" in wrong(tmp_path, "nowhere.toml")
    furnace = tmp_path / "modbus.toml"
    furnace.write_text(
        'name = "f"\nunit = "C"\n[link]\nkind = "modbus"\nport = "/dev/nowhere"\n'
        '[[sensor]]\nname = "control"\nrole = "control"\ntable = "input"\nregister = 0\n'
    )
    assert "/dev/nowhere: missing" in wrong(tmp_path, "modbus.toml")
    assert "only a simulated furnace" in wrong(tmp_path, "modbus.toml", "--speed", "10")
    (tmp_path / "recipe.toml").write_text("name = 3")
    simulated_furnace(tmp_path)
    assert "recipe.toml" in wrong(tmp_path, "furnace.toml", "--recipe", "recipe.toml")
    assert "no duration" in wrong(tmp_path, "furnace.toml", "--for", "soon")
    assert "no number" in wrong(tmp_path, "furnace.toml", "--speed", "nan")
    without_page = wrong(tmp_path, "furnace.toml", "--lan")
    assert "add --page" in without_page
    assert "Recording" not in without_page
    (tmp_path / "file").write_text("")
    assert "Give another --logbook" in wrong(tmp_path, "furnace.toml", "--logbook", "file/book")


def test_recording_loads_no_heavy_module() -> None:
    from tests.benchmarks.record_cost import loaded_modules

    assert loaded_modules() == []


def test_the_version_in_the_code_is_the_packages() -> None:
    from importlib.metadata import version

    from soakwitness.firmware_bridge.version import VERSION

    assert version("soakwitness") == VERSION


@pytest.mark.parametrize(
    ("text", "seconds"), [("90", 90), ("90s", 90), ("25m", 1500), ("1h30m", 5400), ("1.5h", 5400), ("2h5s", 7205)]
)
def test_durations(text: str, seconds: float) -> None:
    assert Duration().convert(text, None, None) == seconds


# Sentences


def now(**changes: object) -> Now:
    facts: dict[str, object] = {
        "furnace": make_furnace(),
        "run": Path("runs/x"),
        "t_s": 4984.0,
        "utc_s": 1_795_590_902.0,
        "values": {"control": 1040.26, "load": None, "setpoint": 1040.0},
        "faults": {"load": "open circuit"},
        "reading_age_s": 0.4,
        "rows": 4984,
    }
    return Now(**{**facts, **changes})  # type: ignore[arg-type]


def test_the_sentence_leads_with_what_matters() -> None:
    assert now_sentence(now()) == (
        "1:23:04 into the run. control 1040.3 °C, load open circuit, setpoint 1040 °C. "
        "4984 rows, last reading 0.4 s ago."
    )
    lead = "Step 4: blade in band 18:40 of 25:00, take out in 6:20"
    assert now_sentence(now(), unit="F", lead=lead).startswith(f"{lead}. control 1904.5 °F, ")


def test_the_sentence_says_what_is_wrong() -> None:
    lost = now(link_lost="/dev/x: silent.", reading_age_s=75.0)
    assert "no link for 1:15: /dev/x: silent" in now_sentence(lost)
    full = now(trouble="no space left on device", held_rows=120)
    assert "NOT BEING WRITTEN (no space left on device), 120 rows in memory" in now_sentence(full)
    assert "1 row in memory" in now_sentence(now(trouble="no space left on device", held_rows=1))
    assert "no reading yet" in now_sentence(now(reading_age_s=None))


def test_what_is_no_longer_read_is_not_said_as_if_it_were_so_now() -> None:
    lead = "Step 2: chamber at 744 °C, 288 °C to go to the band"
    for lost in (now(link_lost="/dev/x: missing.", reading_age_s=15.2), now(reading_age_s=15.2)):
        said = now_sentence(lost, lead=lead)
        assert said.startswith(f"{lead}, when last read 15 s ago. no reading. 4984 rows")
    assert now_sentence(now(reading_age_s=2.9), lead=lead).startswith(f"{lead}. control 1040.3 °C")


def test_idle_facts_say_when_there_is_no_link() -> None:
    gone = Sample(0.0, 0.0, Look(None, LinkError("missing", "/dev/x: missing.")))
    assert idle_now(gone, make_furnace()).link_lost == "/dev/x: missing."
    here = Sample(0.0, 0.0, Look(Reading({"control": 20.0})))
    assert idle_now(here, make_furnace()).values == {"control": 20.0}


def test_a_watch_without_a_link_does_not_say_that_the_furnace_is_cold() -> None:
    out = Stream(terminal=False)
    person = Person(screen(out, Stream(terminal=False), [0.0]), Stop(), "C")
    person.idle(Sample(0.0, 0.0, Look(None, LinkError("missing", "/dev/x: missing."))), make_furnace())
    assert out.text.endswith(" Watching small furnace, no link: /dev/x: missing.\n")


class Stream:
    """A stream that is a terminal, or is none, or is gone."""

    def __init__(self, *, terminal: bool, gone: bool = False) -> None:
        self.text = ""
        self._terminal = terminal
        self._gone = gone

    def isatty(self) -> bool:
        return self._terminal

    def fileno(self) -> int:
        raise OSError

    def write(self, text: str) -> int:
        if self._gone:
            raise OSError(5, "gone")
        self.text += text
        return len(text)

    def flush(self) -> None:
        pass


def screen(out: Stream, err: Stream, seconds: list[float]) -> Screen:
    return Screen(out=out, err=err, now=lambda: seconds[0])  # type: ignore[arg-type]


def test_a_pipe_gets_one_plain_line_a_minute() -> None:
    out, err, seconds = Stream(terminal=False), Stream(terminal=False), [0.0]
    shown = screen(out, err, seconds)
    for second in range(181):
        seconds[0] = float(second)
        shown.sentence(f"second {second}")
    assert [line.split(" ", 1)[1] for line in out.text.splitlines()] == [
        f"second {second}" for second in (0, 60, 120, 180)
    ]
    assert err.text == ""
    shown.bell()
    assert "\a" not in err.text


def test_a_terminal_keeps_one_sentence_in_its_place() -> None:
    out, err = Stream(terminal=True), Stream(terminal=True)
    shown = screen(out, err, [0.0])
    shown.sentence("one " * 30)
    assert err.text == "\r\x1b[J" + "one " * 19 + "one" + "\n" + "one " * 9 + "one"
    err.text = ""
    shown.sentence("two")
    shown.message("an event")
    assert out.text == ""
    assert err.text == "\r\x1b[1A\x1b[J" + "two" + "\r\x1b[J" + "an event\n"
    shown.sentence("x" * 1000)
    assert err.text.count("\n") == 4
    assert err.text.endswith("x…")


def test_a_terminal_that_is_gone_hurts_nobody() -> None:
    shown = screen(Stream(terminal=True, gone=True), Stream(terminal=True, gone=True), [0.0])
    shown.sentence("x")
    shown.message("y")
    shown.bell()


def test_a_service_without_streams_records_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdout", None)
    monkeypatch.setattr(sys, "stderr", None)
    shown = Screen()
    shown.sentence("x")
    shown.message("y")
    shown.bell()
    assert not shown.alive


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_an_answer_that_cannot_be_written_is_one_line_and_status_1(tmp_path: Path) -> None:
    words = [sys.executable, "-c", "from soakwitness.cli.main import main; main()", "runs", "--json"]
    with open("/dev/full", "w") as full:
        done = subprocess.run(words, stdout=full, stderr=subprocess.PIPE, text=True, cwd=tmp_path, check=False)
    assert done.returncode == 1
    assert done.stderr == "Error: No space left on device.\n"


def test_keys_and_a_note_that_is_dropped() -> None:
    pressed: list[str] = []
    notes: list[str] = []
    keys = Keys(screen(Stream(terminal=True), Stream(terminal=True), [0.0]), pressed.append, notes.append)
    for key in " lPshdou" + "zq" + "nwrong\x1b" + "n  \r" + "nright\r":
        keys.take(key)
    assert pressed == ["next", "load", "pull", "plates", "hand-warm", "door", "all out", "undo"]
    assert notes == ["right"]


def test_a_note_on_which_something_lies_ends_at_a_length_that_a_mark_takes() -> None:
    notes: list[str] = []
    keys = Keys(screen(Stream(terminal=True), Stream(terminal=True), [0.0]), notes.append, notes.append)
    keys.take_all("n" + ";" * 50_000 + "\r")
    assert notes == [";" * 2000]


@pytest.mark.parametrize(
    "came",
    [
        ["\x1b[D\x1b[H"],  # left, home
        ["\x1bOP\x1bOS"],  # F1, F4
        ["\x1b", "[D"],  # cut in two on its way
        ["\x1b[", "1;5D"],  # with Ctrl
        ["\x1bO", "P"],
        ["\x1b", ""],  # Esc alone
    ],
)
def test_keys_of_several_characters_are_no_marks(came: list[str]) -> None:
    pressed: list[str] = []
    keys = Keys(screen(Stream(terminal=True), Stream(terminal=True), [0.0]), pressed.append, pressed.append)
    for part in came:
        keys.take_all(part)
    assert pressed == []
    keys.take_all("d")
    assert pressed == ["door"]


def test_what_pedals_and_buttons_send_means_the_next_act() -> None:
    pressed: list[str] = []
    notes: list[str] = []
    at = [0.0]
    quiet = screen(Stream(terminal=True), Stream(terminal=True), at)
    keys = Keys(quiet, pressed.append, notes.append, now=lambda: at[0])
    for number, came in enumerate(["\n", "b", "\x1b[6~", "\x1b", "[5~", "\x1b[6", "~"]):
        at[0] = 5.0 * number
        keys.take_all(came)
    assert pressed == ["next"] * 5
    # Its look-alike: in a note they are what they are.
    for came in ("nlab", "\x1b[6~", " 2\r"):
        keys.take_all(came)
    assert (notes, len(pressed)) == (["lab 2"], 5)


def test_an_arrow_in_a_note_leaves_it_and_esc_drops_it() -> None:
    pressed: list[str] = []
    notes: list[str] = []
    keys = Keys(screen(Stream(terminal=True), Stream(terminal=True), [0.0]), pressed.append, notes.append)
    for part in ("nhot\x1b[D", " spot\r", "nwrong", "\x1b", "", "l"):
        keys.take_all(part)
    assert (notes, pressed) == (["hot spot"], ["load"])


def test_a_key_that_is_held_down_counts_once() -> None:
    pressed: list[str] = []
    at = [0.0]
    quiet = screen(Stream(terminal=True), Stream(terminal=True), at)
    keys = Keys(quiet, pressed.append, pressed.append, now=lambda: at[0])
    for at[0] in (0.0, 0.5, 0.53, 0.56, 1.5, 3.0, 3.1):
        keys.take(" ")
    assert pressed == ["next", "next"]
    keys.take("l")
    assert pressed == ["next", "next", "load"]


@posix
def test_a_recorder_in_the_background_records_and_leaves_the_shells_keys_alone(tmp_path: Path) -> None:
    simulated_furnace(tmp_path)
    shell = Terminal("record", "furnace.toml", cwd=tmp_path, background=True)
    try:
        shell.wait_for(" start: ")
        shell.type("l")
        shell.wait_for("2 rows")
        shell.child.send_signal(signal.SIGTERM)
        shell.wait_for("Sealed.")
        assert shell.child.wait(timeout=60) == 0
    finally:
        shell.close()
    (run,) = (tmp_path / "soakwitness-logbook" / "runs").iterdir()
    assert read_marks(run) == ()


def test_help_has_an_example_that_is_a_command() -> None:
    done = subprocess.run(
        [sys.executable, "-c", "from soakwitness.cli.main import main; main()", "record", "--help"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert "Example: soakwitness record furnace.toml --for 5s" in done.stdout
