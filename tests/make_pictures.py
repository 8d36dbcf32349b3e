"""Makes the README's pictures from the sample logs: ``python tests/make_pictures.py`` (needs Chromium for the page)."""

from __future__ import annotations

import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))
PICTURES = ROOT / "sample_logs" / "pictures"
RUN = ROOT / "sample_logs" / "short-soak"
RECIPE = ROOT / "sample_logs" / "recipes" / "paring-blades.toml"


def run_chart() -> None:
    """The chart of a run whose control sensor looks perfect."""
    from soakwitness.analysis.recipes.recipe_file import load_recipe
    from soakwitness.analysis.record.run import open_run
    from soakwitness.analysis.verification.verifying import verify
    from soakwitness.cli.charts.run_chart import save_run_chart

    run, recipe = open_run(RUN), load_recipe(RECIPE)
    save_run_chart(run, verify(run, recipe), recipe, PICTURES / "run.png")


def live_page() -> None:
    """The book's page as it stood in the last hold of the good run; the sentence is the soak clock's own."""
    from soakwitness.analysis.live.clock import SoakClock
    from soakwitness.analysis.live.followed_sensors import LiveSensor
    from soakwitness.analysis.live.living_sentence import sentence
    from soakwitness.analysis.recipes.recipe_file import load_recipe
    from soakwitness.analysis.record.run import open_run
    from tests.cli.books import served, until
    from tests.cli.browsers import chromium

    run, recipe = open_run(ROOT / "sample_logs" / "good"), load_recipe(RECIPE)
    clock = SoakClock(recipe, sensors=[LiveSensor("control", "control"), LiveSensor("load", "load")])
    holds = [{"target": h.target_c, "lower": h.lower_c, "upper": h.upper_c} for h in recipe.holds]
    with tempfile.TemporaryDirectory() as folder, served(Path(folder)) as book, chromium() as browser:
        shown = np.flatnonzero(run.t_s < 6000.0)
        for i in shown:
            read = {name: float(run.values[name][i]) for name in ("control", "load")}
            clock.read(float(run.t_s[i]), read)
            state = {
                "furnace": run.header.furnace_name,
                "recipe": recipe.name,
                "every_s": 10.0,
                "run": run.header.run,
                "t_s": float(run.t_s[i]),
                "unit": "C",
                "sentence": sentence(clock.state()),
                "readings": [{"name": name, "role": name, "temp": round(temp, 1)} for name, temp in read.items()],
                "record": f"{i + 1} rows written.",
                "reading_age_s": 0.0,
                "holds": holds,
            }
            book.tell(state)
        until(lambda: book.whole()[run.header.furnace_name]["t_s"] == float(run.t_s[shown[-1]]))
        tab = browser.new_page(viewport={"width": 1000, "height": 760})
        tab.goto(book.address)
        tab.locator(".sentence", has_text="Step 4").wait_for()
        tab.screenshot(path=str(PICTURES / "page.png"))


def audit_chart() -> None:
    """The audit of thick blades that came out soft, beside good ones; the batches are made, with a known cause."""
    from datetime import UTC, datetime

    from click.testing import CliRunner

    from soakwitness.cli.main import soakwitness
    from tests import bad_batches

    with tempfile.TemporaryDirectory() as place:
        shop = bad_batches.Shop.opened(Path(place), datetime(2026, 1, 5, 7, 0, tzinfo=UTC))
        shop.logged_tempers = False
        story = bad_batches.bad_batch(300, make=bad_batches.packet_lag)
        names = shop.enter(shop.furnish(replace(story, temper_logged=False), good=5), rename="chef")
        shop.book.close()
        asked = ["audit", "--suspect", *names, "--chart", str(PICTURES / "audit.png"), "--force", "--logbook", place]
        answer = CliRunner().invoke(soakwitness, asked)
        if answer.exit_code:
            sys.exit(answer.output)


if __name__ == "__main__":
    PICTURES.mkdir(exist_ok=True)
    run_chart()
    audit_chart()
    live_page()
