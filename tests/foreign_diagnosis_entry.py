"""Enter a case of foreign_diagnosis_cases.py as its user would, and read which fault was named.

Places marked NEAREST are entered the nearest way that the commands of the day allow; change them when there is better.
``CAUSES`` and ``TESTS`` say by which words of the answer a fault and a test are known: add the words of new ones.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from pathlib import Path

from tests.foreign_calibration_entry import said
from tests.foreign_diagnosis_cases import KINDS, DiagnosisCase

CAUSES = {  # kind: what a cause's name has in it; the first that fits counts
    "coarse display": r"resolution|coarse|step of the display|quanti",
    "place difference": r"place difference|another place|places differ",
    "healthy, scatter": r"nothing wrong|healthy|scatter",
    "wrong type set": r"type",
    "extension reversed": r"revers.*(extension|lead)|(extension|lead).*revers",
    "sensor reversed": r"revers|polarity",
    "copper lead": r"copper",
    "wrong extension": r"extension|wrong lead|other lead",
    "cold junction": r"cold junction|terminals|warm head",
    "offset typed": r"offset",
    "shunt in hot insulation": r"shunt|insulation",
    "short at the head": r"short",
    "open at times": r"open|intermittent|contact",
    "loop resistance or filter": r"resistance|filter|smooth|loop",
    "tip moved": r"tip|moved|pulled|gradient|immersion",
    "aged wire, inhomogeneous": r"inhomogen|aged|local",
    "drift by heat": r"drift",
}
FORMS = {"loop resistance": "current", "filter": "filter"}
TESTS = {  # test: what its name or its sentence has in it; the first that fits counts
    "short input": r"short wire|join the two|terminals? short|jumper",
    "warm head": r"warm(ing)? (the )?head|head.*warm",
    "read settings": r"setting|letter",
    "look at wires": r"colou?r|magnet|polarity|which wire|lead's type",
    "wiggle": r"wiggle|move the (wires|cable|lead)|tap|tighten",
    "insulation": r"insulation|megohm|between wires? and sheath",
    "loop resistance": r"ohm|resistance",
    "wait": r"steady for|wait|hold still|once more when",
    "push in": r"push|side by side|one hole|deeper|depth|draw.*out|swap places|change places|tip to tip",
    "new sensor": r"new (thermo|sensor|one)|spare|fresh|another (thermo|sensor)",
    "finer display": r"finer|decimal",
    "repeat": r"again|repeat|more readings",
}
# what a test shows with each fault, where it is not "as a sound one"; forms of a fault stand after a slash
SHOWS = {
    "warm head": {"extension reversed": "moves", "wrong extension": "moves", "copper lead": "moves"}
    | {"short at the head": "follows"},
    "short input": {"cold junction": "off", "cold junction/terminals warmed": "", "offset typed": "off"},
    "read settings": {"wrong type set": "type", "offset typed": "offset", "loop resistance or filter/filter": "filter"},
    "look at wires": {"extension reversed": "crossed", "wrong extension": "other", "copper lead": "copper"}
    | {"sensor reversed": "crossed", "wrong type set": "other"},
    "wiggle": {"open at times": "jumps", "loop resistance or filter/current": "jumps", "short at the head": "jumps"},
    "insulation": {"shunt in hot insulation": "low", "short at the head": "none"},
    "loop resistance": {"loop resistance or filter/current": "high", "loop resistance or filter/loaded": "high"}
    | {"open at times": "jumps", "short at the head": "low"},
    "wait": {"loop resistance or filter/filter": "right", "open at times": "jumps"},
    "push in": {"tip moved": "right", "place difference": "right", "aged wire, inhomogeneous": "otherwise"},
    "new sensor": {"drift by heat": "right", "aged wire, inhomogeneous": "right", "shunt in hot insulation": "right"}
    | {"short at the head": "right", "open at times/in the sensor": "right"},
    "finer display": {"coarse display": "right"},
    "repeat": {"healthy, scatter": "right", "open at times": "jumps", "loop resistance or filter/filter": "right"},
}


@dataclass(frozen=True)
class Diagnosed:
    """What was said: ``cause`` where one alone was named; causes as kinds of the generator, "?" where unknown to it."""

    refused: bool
    cause: str | None
    between: tuple[str, ...]
    first: str | None
    test: str | None
    words: str
    forms: tuple[str, ...] = ()  # of those in ``between``, where a name tells which form of the kind is meant


def diagnosed(case: DiagnosisCase, folder: Path) -> Diagnosed:
    """Type the readings into a file and ask."""
    table = folder / "readings.csv"
    table.write_text(readings_csv(case), "utf-8")
    words = ["sensor", "diagnose", "--readings", str(table), "--noise", str(case.u_c), "--json"]
    if case.spare_tried is not None:
        words += ["--spare", "helped" if case.spare_tried else "same"]
    if case.shift_when_moved_c is not None:
        words += ["--drawn-out", str(case.shift_when_moved_c)]
    status, out, beside = said(folder / "book", [*words, *(("--set-to", case.set_to) if case.set_to else ())])
    if status != 0 or not out.startswith("{"):
        return Diagnosed(True, None, (), None, None, beside.strip())
    found = json.loads(out)
    ranked = found["candidates"]
    asks = found["test"]
    test = f"{asks['name']}: {asks['do']}" if asks else None
    return Diagnosed(
        False,
        None if found["cause"] is None else _known(found["cause"], CAUSES),
        tuple(_known(cause, CAUSES) for cause in found["between"]),
        _known(ranked[0]["cause"], CAUSES) if ranked else None,
        None if test is None else _known(test, TESTS),
        f"{found['says']} {test or ''}",
        tuple(next((form for word, form in FORMS.items() if word in cause), "") for cause in found["between"]),
    )


def readings_csv(case: DiagnosisCase) -> str:
    """The table of the guide; a moment without a number has no sensor."""
    lines = ["reference,sensor,head,room,note"]
    for row in case.readings:
        shown, head, room = ("" if value is None else f"{value}" for value in (row.shown_c, row.head_c, row.room_c))
        lines.append(f"{row.reference_c},{shown},{head},{room},{row.note}")
    return "\n".join(lines) + "\n"


def _known(words: str, names: dict[str, str]) -> str:
    return next((name for name, pattern in names.items() if re.search(pattern, words, re.IGNORECASE)), "?")


def outcome(test: str, kind: str, form: str) -> str:
    """What a test shows where this is wrong; "" as with a sound one."""
    shows = SHOWS.get(test, {})
    return shows.get(f"{kind}/{form}", shows.get(kind, ""))


def tells(case: DiagnosisCase, found: Diagnosed) -> bool:
    """Whether the test that is named comes out otherwise than with the foremost rival of the truth."""
    rivals = [n for n, cause in enumerate(found.between) if cause != case.truth.kind]
    if found.test is None or not rivals:
        return False
    here = outcome(found.test, case.truth.kind, case.truth.form)
    return here != outcome(found.test, found.between[rivals[0]], found.forms[rivals[0]])


assert set(CAUSES) == set(KINDS)
