"""Words looked for in all pages of the guide, and where in *definitions* a finding is defined."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from soakwitness.cli.guide.pages import ORDER, page_text, page_titles

LONGEST, BEFORE = 200, 60
MOST_WORDS = 12
OWN_NAME = "soakwitness"
# Headings of the page ``definitions`` that say how a finding is come to; others stand in the table of ``verify``.
DEFINED_UNDER = {
    "short soak": "The soak",
    "long soak": "The soak",
    "packet lag": "Where a hold is",
    "hold missing": "Where a hold is",
    "run ended early": "Where a hold is",
    "overshoot": "Too hot",
    "out of band": "Too hot",
    "gap in record": "What readings leave open",
    "no calibration": "What the sensor's error leaves open",
    "calibration overdue": "What the sensor's error leaves open",
    "slow ramp": "Ramps",
    "fast ramp": "Ramps",
}


@dataclass(frozen=True)
class GuidePlace:
    """A place in the guide: the page, the heading over it, and what stands there around the words."""

    page: str
    title: str
    heading: str
    says: str

    @property
    def anchor(self) -> str:
        """Where on the page it is."""
        return anchor_of(self.heading)


def anchor_of(heading: str) -> str:
    """The name of a heading's place on its page."""
    return "-".join(re.findall(r"[a-z0-9]+", heading.lower().replace("'", ""))) or "page"


def defined_at(code: str) -> tuple[str, str]:
    """Page and place of what defines a finding."""
    heading = DEFINED_UNDER.get(code)
    return ("verify", anchor_of("Findings")) if heading is None else ("definitions", anchor_of(heading))


def find_in_guide(words: str) -> list[GuidePlace]:
    """Paragraphs that have all the words, those under whose heading all of them are after them; in reading order."""
    wanted = words.casefold().split()[:MOST_WORDS]
    if not wanted:
        return []
    whole, near = [], []
    for place, text in _paragraphs():
        said = text.casefold().replace(OWN_NAME, "")  # in every example: "soak" is looked for, not this
        around = f"{place.title} {place.heading}".casefold()
        if all(word in said for word in wanted):
            whole.append(_cut(place, wanted))
        elif any(word in said for word in wanted) and all(word in said or word in around for word in wanted):
            near.append(_cut(place, wanted))
    return whole + near


def _paragraphs() -> Iterator[tuple[GuidePlace, str]]:
    titles = dict(page_titles())
    for name in ORDER:
        heading = titles[name]
        for part in re.split(r"\n\s*\n", page_text(name)):
            lines = part.strip("\n").split("\n")
            if lines[0].startswith("#"):
                heading, lines = lines[0].lstrip("# "), [lines[0].lstrip("# "), *lines[1:]]
            rows = lines if lines[0].startswith("|") or lines[0].startswith("    ") else [" ".join(lines)]
            for row in rows:
                text = " ".join(row.replace("|", " ").replace("`", "").replace("*", "").split())
                if text.strip("- "):
                    yield GuidePlace(name, titles[name], heading, text), text


def _cut(place: GuidePlace, wanted: list[str]) -> GuidePlace:
    """What stands around the first of the words."""
    text = place.says
    first = min((at for word in wanted if (at := text.casefold().find(word)) >= 0), default=0)
    begin = 0 if first <= BEFORE else text.rfind(" ", 0, first - BEFORE) + 1
    end = len(text) if len(text) - begin <= LONGEST else text.rfind(" ", begin, begin + LONGEST)
    end = end if end > begin else begin + LONGEST
    shown = ("... " if begin else "") + text[begin:end] + (" ..." if end < len(text) else "")
    return GuidePlace(place.page, place.title, place.heading, shown)
