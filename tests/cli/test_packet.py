"""``soakwitness packet`` as a person meets it, on run folders whose blade an independent equation heated."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from soakwitness.cli.main import soakwitness
from soakwitness.cli.options.common import run_main
from soakwitness.firmware_bridge.connecting.furnace_file import template
from soakwitness.firmware_bridge.runfolder.contents import Column
from soakwitness.firmware_bridge.runfolder.writer import RunFolder
from tests.packet_oracle import TruePacket, solve

STARTED_UTC = 1_795_590_902.0
COLUMNS = (Column("control", "sensor", "C", role="control"), Column("blade", "sensor", "C", role="load"))
RECIPE = """name = "two holds"
load = "{load}"
[[step]]
ramp = "full power"
to = 790
[[step]]
hold_minutes = 30
tolerance = 5
[[step]]
ramp = 600
to = 1070
[[step]]
hold_minutes = 25
tolerance = 5
[packet]
thickness_mm = 3.0
"""
RACK = "\n[rack]\nslots = 6\nspacing_mm = 14\n"
HOT_RECIPE = """name = "into the hot furnace"
load = "hot"
load_at = 1065
[[step]]
ramp = "full power"
to = 1065
[[step]]
hold_minutes = 20
tolerance = 5
[packet]
thickness_mm = 3.0
"""
RIDES = ((0, 20), (4620, 790), (7020, 790), (8700, 1070), (10500, 1070))


def rides(t: float) -> float:
    """10 degC/min to 790 and to 1070, as in the lag table of CHECKS section 4."""
    return float(np.interp(t, *zip(*RIDES, strict=True)))


def run_folder(
    logbook: Path,
    chamber: Callable[[float], float],
    until_s: float,
    *,
    true: TruePacket | None = None,
    load_s: float = 0.0,
    recipe: str | None = None,
    marks: Sequence[tuple[float, str]] = (),
    every_s: float = 5.0,
) -> Path:
    """Make a sealed run; with a true packet its blade rides along as a load sensor."""
    t = np.arange(0.0, until_s, every_s)
    blade = np.full(t.size, 20.0)
    if true is not None:
        inside = t >= load_s
        at = np.concatenate([[0.0], t[inside] - load_s]) if t[inside][0] > load_s else t[inside] - load_s
        blade[inside] = solve(true, lambda x: chamber(x + load_s), at)[-int(inside.sum()) :]
    columns = COLUMNS if true is not None else COLUMNS[:1]
    run = RunFolder.create(
        logbook,
        columns=columns,
        furnace_name="small furnace",
        started_utc=STARTED_UTC,
        every_s=every_s,
        recipe_name="x" if recipe else None,
        recipe_file=recipe,
    )
    for at_s, work in zip(t.tolist(), blade.tolist(), strict=True):
        values = {"control": round(chamber(at_s), 1), "blade": round(work, 1)}
        run.write_row(at_s, STARTED_UTC + at_s, {c.name: values[c.name] for c in columns})
    for number, (at_s, act) in enumerate(marks):
        run.write_event(at_s, STARTED_UTC + at_s, "mark", f"{act}; id a{number}")
    run.seal(sealed_utc=STARTED_UTC + until_s)
    return run.path


def ask(*words: object) -> Result:
    return CliRunner().invoke(soakwitness, ["packet", *map(str, words)])


@pytest.fixture(scope="module")
def ridden(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A run with a load sensor in a packet that nobody guessed."""
    true = TruePacket(eps_o=0.5, f_i=0.25, gap_mm=0.7, peak_factor=0.9)
    return run_folder(tmp_path_factory.mktemp("book"), rides, 10500, true=true, recipe=RECIPE.format(load="cold"))


@pytest.fixture(scope="module")
def packet_file(ridden: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("packets") / "packet.toml"
    done = ask("fit", ridden, "--load", "blade", "--thickness-mm", 3, "--out", out)
    assert done.exit_code == 0, done.stderr
    assert done.stdout.splitlines()[-1] == str(out)
    return out


def test_predict_as_other_programs_read_it(tmp_path: Path) -> None:
    recipe = tmp_path / "recipe.toml"
    recipe.write_text(RECIPE.format(load="cold"))
    run = run_folder(tmp_path, rides, 10500)
    answer = json.loads(ask("predict", run, "--thickness-mm", 3, "--recipe", recipe, "--json").stdout)
    assert answer["schema"] == "soakwitness/packet/1"
    count = 2100
    assert [len(answer["t_s"])] + [len(answer["work_c"][k]) for k in ("low", "best", "high")] == [count] * 4
    # CHECKS section 4, 3 mm: 6.9 and 0.8 min after the chamber reaches its hold; counted from 5 degC below, half a
    # minute more (10 degC/min)
    for hold, target_c, table_min in zip(answer["holds"], (790.0, 1070.0), (6.9, 0.8), strict=True):
        assert hold["target_c"] == target_c
        lag = hold["lag_s"]
        assert lag["best"] / 60 == pytest.approx(table_min + 0.5, rel=0.2)
        assert lag["low"] < lag["best"] < lag["high"]
    assert answer["holds"][1]["never_reached"] == 0.0
    assert 0 < answer["biot"] < 0.1
    best = np.array(answer["work_c"]["best"])
    exact = solve(TruePacket(), rides, np.array(answer["t_s"]))
    # Readings are rounded to 0.1 degC, and the model is within 0.5 of its own equation.
    assert np.abs(best - exact).max() < 0.7


def test_loaded_hot_starts_cold_at_the_load_mark(tmp_path: Path) -> None:
    run = run_folder(tmp_path, lambda t: 1065.0, 3600, recipe=HOT_RECIPE, marks=[(600.0, "load")])
    answer = json.loads(ask("predict", run, "--json").stdout)
    best = dict(zip(answer["t_s"], answer["work_c"]["best"], strict=True))
    assert best[595.0] == 20.0
    exact = solve(TruePacket(), lambda t: 1065.0, np.arange(0.0, 900.0, 5.0))
    assert best[605.0] == pytest.approx(exact[1], abs=0.5)
    assert best[1200.0] == pytest.approx(exact[120], abs=0.5)
    # CHECKS section 4: into 1070, to within 5, 3 mm in foil 7.1 min
    assert answer["holds"][0]["lag_s"]["best"] / 60 == pytest.approx(7.1, rel=0.2)
    words = ask("predict", run).stdout
    assert words.startswith("The packet eats 7.")
    assert "after loading" in words


def test_the_first_sentence_is_what_the_packet_eats(ridden: Path) -> None:
    lines = ask("predict", ridden, "--thickness-mm", 4).stdout.splitlines()
    assert lines[0].startswith("The packet eats ")
    assert "of step 2's 30 min" in lines[0]
    assert "of step 4's 25 min" in lines[0]
    assert "Blade of 4 mm in foil" in lines[1]
    assert any("until an instrumented packet was run" in line for line in lines)


def test_options_say_what_the_piece_is(ridden: Path) -> None:
    def best(*words: object) -> float:
        lag = json.loads(ask("predict", ridden, "--json", *words).stdout)["holds"][1]["lag_s"]["best"]
        assert isinstance(lag, float)
        return lag

    assert best("--no-foil") < best() < best("--thickness-mm", 4) < best("--thickness-mm", 4, "--heated-faces", 1)
    assert best("--blades", 2) == best("--thickness-mm", 6)


@pytest.mark.parametrize("ending", [".png", ".svg", ".pdf"])
def test_the_estimate_is_drawn(ridden: Path, tmp_path: Path, ending: str) -> None:
    chart = tmp_path / f"estimate{ending}"
    assert str(chart) in ask("predict", ridden, "--chart", chart, "--unit", "F").stdout
    first = chart.read_bytes()
    assert len(first) > 5000
    again = ask("predict", ridden, "--chart", chart, "--thickness-mm", 6)
    assert again.exit_code == 2
    assert "exists" in again.stderr
    assert chart.read_bytes() == first
    ask("predict", ridden, "--chart", chart, "--thickness-mm", 6, "--force", "--json")
    assert chart.read_bytes() != first


def test_a_chart_of_another_kind_is_refused(ridden: Path, tmp_path: Path) -> None:
    answer = ask("predict", ridden, "--chart", tmp_path / "estimate.gif")
    assert answer.exit_code == 2
    assert ".svg" in answer.stderr
    assert not list(tmp_path.glob("estimate*"))


def test_fahrenheit_is_shown(ridden: Path) -> None:
    assert "Step 4, 1958 °F" in ask("predict", ridden, "--unit", "F").stdout  # 1070 x 1.8 + 32


def test_the_fit_tells_its_figures_and_keeps_its_thickness(packet_file: Path, ridden: Path) -> None:
    told = tomllib.loads(packet_file.read_text(encoding="utf-8"))
    assert told["thickness_mm"] == 3.0
    assert told["fitted"] is True
    assert told["fitted_from"] == ridden.name
    words = ask("predict", ridden, "--packet", packet_file).stdout
    assert "figures fitted to" in words
    assert "until an instrumented packet was run" not in words


@pytest.mark.parametrize("thickness_mm", [2.0, 5.0])
def test_the_fitted_packet_holds_the_truth_of_another_thickness(
    packet_file: Path, tmp_path: Path, thickness_mm: float
) -> None:
    run = run_folder(tmp_path, lambda t: 1065.0, 5400, recipe=HOT_RECIPE, marks=[(600.0, "load")])
    answer = json.loads(ask("predict", run, "--packet", packet_file, "--thickness-mm", thickness_mm, "--json").stdout)
    true = TruePacket(thickness_mm=thickness_mm, eps_o=0.5, f_i=0.25, gap_mm=0.7, peak_factor=0.9)
    at = np.arange(0.0, 3600.0, 1.0)
    there_s = float(np.interp(1060.0, solve(true, lambda t: 1065.0, at), at))
    lag = answer["holds"][0]["lag_s"]
    assert lag["low"] <= there_s <= lag["high"]
    assert answer["thickness_mm"] == thickness_mm
    assert answer["fitted"] is True


def test_in_a_slot_among_others_it_is_later(ridden: Path, tmp_path: Path) -> None:
    furnace = tmp_path / "shed.toml"
    furnace.write_text(template("modbus") + RACK)

    def lag_s(*words: object) -> float:
        done = ask("predict", ridden, "--thickness-mm", 3, "--json", *words)
        assert done.exit_code == 0, done.stderr
        best: float = json.loads(done.stdout)["holds"][1]["lag_s"]["best"]
        return best

    in_slot = ("--rack", furnace, "--slot")
    alone, end, middle = lag_s(), lag_s(*in_slot, 1), lag_s(*in_slot, 3)
    assert alone < end < middle
    assert lag_s(*in_slot, 3, "--filled", "3") == alone
    assert alone < lag_s(*in_slot, 3, "--filled", "1,3") < end
    words = ask("predict", ridden, *in_slot, 3, "--filled", "1-4").stdout.splitlines()
    assert words[-1] == "In slot 3 of 6, 14 mm apart on the floor, among 3 others alike."


def test_a_fit_in_a_slot_puts_the_neighbours_where_they_belong(ridden: Path, tmp_path: Path) -> None:
    furnace = tmp_path / "shed.toml"
    furnace.write_text(template("modbus") + RACK)
    fitted = []
    for words in ((), ("--rack", furnace, "--slot", 2, "--filled", "1-3")):
        done = ask(
            "fit", ridden, "--load", "blade", "--thickness-mm", 3, "--out", tmp_path / "p.toml", "--force", *words
        )
        assert done.exit_code == 0, done.stderr
        fitted.append(tomllib.loads((tmp_path / "p.toml").read_text())["eps_o"])
    assert fitted[1] > 1.2 * fitted[0]  # so quick a blade among neighbours must take up heat more easily


def test_a_run_without_a_recipe_has_no_holds(tmp_path: Path) -> None:
    done = ask("predict", run_folder(tmp_path, lambda t: 300.0, 600), "--json")
    assert json.loads(done.stdout)["holds"] == []
    assert "--recipe" in ask("predict", run_folder(tmp_path, lambda t: 300.0, 600)).stderr


def test_fit_as_json(ridden: Path, tmp_path: Path) -> None:
    out = tmp_path / "p.toml"
    answer = json.loads(ask("fit", ridden, "--load", "load", "--thickness-mm", 3, "--out", out, "--json").stdout)
    assert answer["schema"] == "soakwitness/packet-fit/1"
    assert answer["packet"]["fitted"] is True
    assert answer["residual_c"] < 1.0


def test_several_runs_measure_how_much_packets_differ(ridden: Path, tmp_path: Path) -> None:
    other = run_folder(tmp_path, rides, 10500, true=TruePacket(eps_o=0.62, f_i=0.25, gap_mm=0.7, peak_factor=0.9))
    both = ["fit", ridden, other, "--load", "blade", "--thickness-mm", 3, "--out"]
    answer = json.loads(ask(*both, tmp_path / "both.toml", "--json").stdout)
    assert [each["run"] for each in answer["runs"]] == [ridden.name, other.name]
    assert answer["packet"]["fitted_from"] == f"{ridden.name}, {other.name}"
    # made with 0.50 and 0.62; the mean of the logarithms is that of 0.557
    assert answer["packet"]["eps_o"] == pytest.approx(0.557, rel=0.06)
    kept = tomllib.loads((tmp_path / "both.toml").read_text(encoding="utf-8"))
    assert kept["scatter"]["eps_o"] == pytest.approx(answer["packet"]["scatter"][0], rel=1e-3)
    words = ask(*both, tmp_path / "words.toml").stdout
    assert words.count("Fitted to") == 2
    assert "as far as 2 runs can tell" in words


def test_a_run_named_twice_is_refused(ridden: Path, tmp_path: Path) -> None:
    done = ask("fit", ridden, ridden, "--load", "blade", "--thickness-mm", 3, "--out", tmp_path / "p.toml")
    assert done.exit_code == 2
    assert f"{ridden.name} is named twice" in done.stderr
    assert not (tmp_path / "p.toml").exists()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["fit", "RUN", "--load", "core", "--thickness-mm", "3", "--out", "new.toml"], "core: no sensor beside"),
        (["fit", "RUN", "--load", "control", "--thickness-mm", "3", "--out", "new.toml"], "There is: blade"),
        (["fit", "RUN", "--load", "blade", "--out", "new.toml"], "Say it: --thickness-mm"),
        (["fit", "RUN", "--load", "blade", "--thickness-mm", "3", "--out", "there.toml"], "--force"),
        (["fit", "RUN", "--load", "blade", "--thickness-mm", "3", "--out", "new.json"], ".toml"),
        (["fit", "RUN", "--load", "blade", "--thickness-mm", "0", "--out", "new.toml"], "0"),
        (["predict", "RUN", "--packet", "none.toml"], "none.toml"),
        (["predict", "RUN", "--packet", "there.toml"], "there.toml"),
        (["predict", "RUN", "--thickness-mm", "-3"], "-3"),
        (["predict", "RUN", "--heated-faces", "3"], "3"),
        (["predict", "nowhere"], "nowhere"),
        (["predict", "RUN", "--slot", "2"], "has no [rack]"),
        (["predict", "RUN", "--filled", "1-3"], "--slot 3"),
        (["predict", "RUN", "--slot", "2", "--rack", "there.toml"], "there.toml"),
        (["predict", "RUN", "--slot", "7", "--rack", "rack.toml"], "Slot 7: the rack has 6 slots"),
        (["predict", "RUN", "--slot", "2", "--filled", "1-x", "--rack", "rack.toml"], "'1-x' is no slot"),
        (["predict", "RUN", "--slot", "2", "--heated-faces", "1", "--rack", "rack.toml"], "Leave --slot out"),
    ],
)
def test_wrong_use_is_one_line_and_status_2(
    words: list[str],
    says: str,
    ridden: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("there.toml").write_text("thickness = 3\n")
    Path("rack.toml").write_text(template("modbus") + RACK)
    monkeypatch.setattr("sys.argv", ["soakwitness", "packet", *[str(ridden) if w == "RUN" else w for w in words]])
    assert run_main(soakwitness) == 2
    assert says in capsys.readouterr().err
    assert Path("there.toml").read_text() == "thickness = 3\n"
    assert not Path("new.toml").exists()
