"""``soakwitness runs``: the list, its JSON, and a table for a spreadsheet."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from soakwitness.cli.main import soakwitness
from tests.run_folders import fill, new_run, sealed_run


def runs(logbook: Path, *words: str) -> Result:
    return CliRunner().invoke(soakwitness, ["runs", "--logbook", str(logbook), *words])


def test_the_list_tells_sealed_changed_cut_off_and_unreadable_runs(tmp_path: Path) -> None:
    good = sealed_run(tmp_path)
    changed = sealed_run(tmp_path)
    file = changed / "samples.csv"
    file.write_bytes(file.read_bytes().replace(b"1040", b"1041", 1))
    left = new_run(tmp_path)
    fill(left, 5)
    left.close()
    (tmp_path / "runs" / "rubbish").mkdir()
    entries = {entry["run"]: entry for entry in json.loads(runs(tmp_path, "--json").stdout)}
    assert (entries[good.name]["state"], entries[good.name]["intact"], entries[good.name]["rows"]) == (
        "sealed",
        True,
        60,
    )
    assert entries[good.name]["length_s"] == 59.0
    assert (entries[changed.name]["sealed"], entries[changed.name]["intact"]) == (True, False)
    assert entries[changed.name]["rows"] == 59
    assert entries[left.path.name]["state"] == "cut off"
    assert entries["rubbish"]["state"] == "unreadable"
    lines = runs(tmp_path).stdout.splitlines()
    (line,) = (line for line in lines if good.name in line)
    assert " ".join(line.split()) == f"{good.name} 2026-11-25 07:15 UTC 59 s 60 rows sealed, intact"
    assert any("changed: samples.csv" in line for line in lines)
    assert any("unreadable" in line for line in lines)


def test_the_list_says_the_verdict_of_runs_that_were_verified(tmp_path: Path) -> None:
    samples = Path(__file__).parents[2] / "sample_logs"
    for name in ("good", "short-soak", "gap"):
        shutil.copytree(samples / name, tmp_path / "runs" / name)
    for name in ("good", "short-soak"):
        CliRunner().invoke(soakwitness, ["verify", str(tmp_path / "runs" / name), "--logbook", str(tmp_path)])
    told = {Path(entry["path"]).name: entry["verdict"] for entry in json.loads(runs(tmp_path, "--json").stdout)}
    assert told == {"good": "pass", "short-soak": "fail", "gap": None}
    good, short, gap = runs(tmp_path).stdout.splitlines()
    assert good.endswith("Paring blades, harden: pass")
    assert short.endswith(": fail")
    assert gap.endswith("harden")


def test_a_run_that_is_being_recorded_is_listed_as_such(tmp_path: Path) -> None:
    from soakwitness.firmware_bridge.runfolder.lock import RUN_LOCK, Lock

    run = new_run(tmp_path)
    fill(run, 5)
    lock = Lock(run.path / RUN_LOCK)
    (entry,) = json.loads(runs(tmp_path, "--json").stdout)
    assert entry["state"] == "being recorded"
    lock.release()
    run.close()


def test_a_run_with_another_name_keeps_its_place(tmp_path: Path) -> None:
    first, second, third = (
        sealed_run(tmp_path, 2).rename(tmp_path / "runs" / name) for name in ("zebra", "middle", "alder")
    )
    for number, path in enumerate((first, second, third)):
        file = path / "run.json"
        header = json.loads(file.read_text())
        header["run"] = f"2026112{number}T071502Z_shed_0000"
        file.write_text(json.dumps(header))
    listed = [entry["run"] for entry in json.loads(runs(tmp_path, "--json").stdout)]
    assert listed == ["zebra", "middle", "alder"]


def test_only_the_newest_are_listed_unless_all_are_asked_for(tmp_path: Path) -> None:
    for _ in range(22):
        sealed_run(tmp_path, 2)
    newest = runs(tmp_path)
    assert len(newest.stdout.splitlines()) == 20
    assert "Not shown: 2 older runs" in newest.stderr
    entries = json.loads(runs(tmp_path, "--all", "--json").stdout)
    assert len(entries) == 22
    assert {entry["intact"] for entry in entries} == {None}
    assert {entry["intact"] for entry in json.loads(runs(tmp_path, "--all", "--check", "--json").stdout)} == {True}


def test_an_empty_log_book_says_so(tmp_path: Path) -> None:
    assert json.loads(runs(tmp_path, "--json").stdout) == []
    assert "No runs" in runs(tmp_path).stderr


def test_a_table_with_a_decimal_comma(tmp_path: Path) -> None:
    path = sealed_run(tmp_path)
    out = tmp_path / "table.csv"
    done = runs(tmp_path, "--export", str(out), path.name, "--decimal", ",")
    assert done.stdout == f"{out}\n"
    lines = out.read_text().splitlines()
    assert lines[0] == "t_s;utc;control;load;setpoint"
    assert lines[2] == "1,000;2026-11-25T07:15:03.000Z;20,5;19,4;1040"
    assert lines[3] == "2,000;2026-11-25T07:15:04.000Z;21;;1040"
    assert len(lines) == 61
    before = out.read_bytes()
    refused = runs(tmp_path, "--export", str(out), path.name)
    assert refused.exit_code == 2
    assert "--force" in refused.stderr
    assert out.read_bytes() == before
    assert runs(tmp_path, "--export", str(out), "--force").exit_code == 0
    assert out.read_text().splitlines()[2].startswith("1.000,2026-11-25")


@pytest.mark.parametrize("damage", ["missing", "empty", "junk", "folder"])
@pytest.mark.parametrize("name", ["samples.csv", "seal.json"])
def test_one_damaged_run_does_not_hide_the_others(tmp_path: Path, name: str, damage: str) -> None:
    good, bad = sealed_run(tmp_path), sealed_run(tmp_path)
    (bad / name).unlink()
    if damage == "folder":
        (bad / name).mkdir()
    elif damage != "missing":
        (bad / name).write_bytes(b"" if damage == "empty" else bytes(range(256)))
    for words in ([], ["--all"]):
        done = runs(tmp_path, *words)
        assert done.exit_code == 0, done.exception
        listed = {line.split()[0]: line for line in done.stdout.splitlines()}
        assert "60 rows  sealed" in listed[good.name]
        assert "intact" not in listed[bad.name]
        assert any(words in listed[bad.name] for words in ("changed: " + name, "unreadable", "cut off"))


@pytest.mark.parametrize(("key", "value"), [("started_utc", "yesterday"), ("started_utc", "2026-11-25T07:15:02")])
def test_a_run_whose_start_is_no_moment_is_unreadable(tmp_path: Path, key: str, value: str) -> None:
    file = sealed_run(tmp_path) / "run.json"
    file.write_text(json.dumps({**json.loads(file.read_text()), key: value}))
    done = runs(tmp_path)
    assert done.exit_code == 0
    assert f"is damaged at {key} = {value!r}" in done.stdout


def test_a_zone_that_is_none_is_shown_in_utc(tmp_path: Path) -> None:
    file = sealed_run(tmp_path) / "run.json"
    file.write_text(json.dumps({**json.loads(file.read_text()), "zone": 5}))
    assert "2026-11-25 07:15 UTC" in runs(tmp_path).stdout


def test_the_table_of_a_changed_run_says_so(tmp_path: Path) -> None:
    path = sealed_run(tmp_path)
    file = path / "samples.csv"
    file.write_bytes(file.read_bytes().replace(b"1040", b"1041", 1))
    done = runs(tmp_path, "--export", str(tmp_path / "t.csv"))
    assert done.exit_code == 0
    assert f"{path.name}: changed: samples.csv; only rows whose checksum holds are written." in done.stderr
    assert len((tmp_path / "t.csv").read_text().splitlines()) == 60  # the header, and all rows but the changed one


def test_an_unknown_run_is_wrong_use(tmp_path: Path) -> None:
    done = runs(tmp_path, "nothing")
    assert done.exit_code == 2
    assert "no such run" in done.stderr


def test_the_list_can_be_asked_for_some_runs_and_their_older_pages(tmp_path: Path) -> None:
    folders = [sealed_run(tmp_path) for _ in range(23)]
    names = sorted(path.name for path in folders)
    first, second = runs(tmp_path), runs(tmp_path, "--page", "2")
    assert [line.split()[0] for line in first.stdout.splitlines()] == names[3:]
    assert first.stderr == "Not shown: 3 older runs: --page 2, or --all\n"
    assert [line.split()[0] for line in second.stdout.splitlines()] == names[:3]
    by_piece = runs(tmp_path, "--piece", "b-041", "--month", "2026-11", "--words", "small furnace")
    assert by_piece.stdout.splitlines() == first.stdout.splitlines()
    assert "3 older runs: --page 2" in by_piece.stderr
    older = runs(tmp_path, "--piece", "B-041", "--page", "2")
    assert older.stdout == second.stdout
    nobody = runs(tmp_path, "--piece", "B-099")
    assert (nobody.stdout, nobody.stderr) == ("", f"No such run in {tmp_path}.\n")
    assert json.loads(runs(tmp_path, "--verdict", "pass", "--json").stdout) == []
    wrong = runs(tmp_path, "--verdict", "passed")
    assert str(wrong.exception) == "'passed' is no verdict. Use one of pass, fail, not proven, not judged."
    named = runs(tmp_path, names[0], "--month", "2026-11")
    assert named.exit_code == 2
    assert "a run is named" in named.stderr
