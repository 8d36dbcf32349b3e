"""What *Plan* offers to choose from, and what was filled in: checked in the page's words, and made an address of."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from soakwitness.analysis.errors import LogBookError
from soakwitness.cli.book.desk import Desk
from soakwitness.cli.book.sent_forms import Filled, Values
from soakwitness.cli.options.entering import HOUR, names_in_files, shown_time, start_of

if TYPE_CHECKING:
    from soakwitness.analysis.logbook.kept_recipes import KeptRecipe
    from soakwitness.analysis.logbook.opening import LogBook
    from soakwitness.analysis.logbook.packets import MeasuredPacket
    from soakwitness.analysis.logbook.pieces import Piece
    from soakwitness.analysis.recipes.recipe import Recipe

ONE = (
    *("recipe_path", "furnace", "thickness_mm", "count", "foil", "starts", "reaches", "temper_path", "packet_path"),
    "unit",
)
OF_RECIPES = ("recipe_path", "temper_path")
CLOCK = ("hour", "day")  # what is filled in of ``starts``
MOST_PIECES, LOOKED_THROUGH = 24, 100
MOST_MM, MOST_BLADES = 100.0, 100


@dataclass(frozen=True)
class RecipeOffered:
    """A recipe that can be chosen; ``file``: where it lies in the folder of recipes, None: the log book keeps it."""

    digest: str
    name: str
    says: str
    file: Path | None = None


@dataclass(frozen=True)
class PieceOffered:
    """A piece that was in no run yet; ``waits_for``: the furnace whose next run it is entered for."""

    piece: str
    says: str
    waits_for: str | None


@dataclass(frozen=True)
class PacketOffered:
    """A measured packet that the log book keeps."""

    digest: str
    name: str
    says: str


@dataclass(frozen=True)
class PlanOffered:
    """All that can be chosen; ``trouble``: what keeps some of it away."""

    recipes: Sequence[RecipeOffered] = ()
    furnaces: Sequence[str] = ()
    pieces: Sequence[PieceOffered] = ()
    packets: Sequence[PacketOffered] = ()
    trouble: Sequence[str] = ()

    def recipe(self, digest: str) -> RecipeOffered | None:
        """The recipe of this digest."""
        return next((one for one in self.recipes if one.digest == digest), None)


def first(values: Values, name: str) -> str:
    """What was filled into a field."""
    return next((text.strip() for text in values.get(name, ()) if text.strip()), "")


def filled_in(values: Mapping[str, Sequence[str]]) -> Values:
    """What of an address or a form belongs to a plan, without what was left empty; names in one field are parted."""
    found = {name: [text for text in values.get(name, ()) if text.strip()] for name in (*ONE, *CLOCK)}
    names = [name for text in values.get("pieces", ()) for name in re.split(r"[\s,;]+", text) if name]
    return {name: texts for name, texts in (found | {"pieces": list(dict.fromkeys(names))}).items() if texts}


def offered(desk: Desk, values: Values) -> PlanOffered:
    """What can be chosen now."""
    recipes, trouble = recipes_offered(desk, values)
    try:
        with desk.open_book_in_step() as book:
            return PlanOffered(recipes, *_of_book(book), trouble)
    except LogBookError:  # there is none yet
        return PlanOffered(recipes, trouble=trouble)


def recipes_offered(desk: Desk, values: Values) -> tuple[list[RecipeOffered], list[str]]:
    """Recipes, those used last first, and what keeps others away; one chosen before stays, though it is older now."""
    from soakwitness.cli.terminal.after_run import recipes_in

    files, wrong = ([], []) if desk.recipes is None else recipes_in(desk.recipes)
    try:
        with desk.open_book() as book:
            return _in_order_of_use(book, files, values), wrong
    except LogBookError as error:
        return [_of_file(one, None) for one in files], [*wrong, str(error)]


def _in_order_of_use(book: LogBook, files: Sequence[Recipe], values: Values) -> list[RecipeOffered]:
    from soakwitness.analysis.logbook.kept_recipes import kept_recipe, kept_recipes

    kept = {one.name.casefold(): one for one in kept_recipes(book)}
    in_files = {one.name.casefold() for one in files}
    dated = [(_of_file(one, kept.get(one.name.casefold())), kept.get(one.name.casefold())) for one in files]
    dated += [(_of_log_book(one), one) for name, one in kept.items() if name not in in_files]
    dated.sort(key=lambda one: "" if one[1] is None else one[1].last_utc, reverse=True)
    recipes = [one for one, _ in dated]
    for asked in (first(values, name) for name in OF_RECIPES):
        older = kept_recipe(book, asked) if asked and asked not in {one.digest for one in recipes} else None
        recipes += [] if older is None else [_of_log_book(older, older=True)]
    return recipes


def _of_book(book: LogBook) -> tuple[Sequence[str], Sequence[PieceOffered], Sequence[PacketOffered]]:
    """Its furnaces, the newest pieces that were in no run yet, and its measured packets."""
    from soakwitness.analysis.logbook.packets import measured_packets
    from soakwitness.analysis.logbook.pieces import search
    from soakwitness.analysis.logbook.runs import furnaces

    pieces = [one for piece in search(book, limit=LOOKED_THROUGH) for one in _piece(book, piece)]
    named = dict.fromkeys((*furnaces(book), *names_in_files(book.folder.parent)))
    return tuple(named), pieces[:MOST_PIECES], [_packet(one) for one in reversed(measured_packets(book))]


def _packet(kept: MeasuredPacket) -> PacketOffered:
    says = f"{'in foil' if kept.foil else 'bare'}, counts from {kept.since}"
    return PacketOffered(hashlib.sha256(kept.text.encode()).hexdigest(), kept.name, says)


def files_of(recipes: Sequence[RecipeOffered], values: Values) -> dict[str, str]:
    """Where the recipes that were chosen lie, by their fields; what the log book keeps has no place."""
    places = {one.digest: str(one.file) for one in recipes if one.file is not None}
    chosen = {name: first(values, name) for name in OF_RECIPES}
    return {name: places[digest] for name, digest in chosen.items() if digest in places}


def _of_file(recipe: Recipe, kept: KeptRecipe | None) -> RecipeOffered:
    used = "not used yet" if kept is None else f"used {shown_time(kept.last_utc, kept.zone)[:10]}"
    says = ", ".join(filter(None, (recipe.steel, used)))
    return RecipeOffered(recipe.digest, recipe.name, says, Path(recipe.source).absolute())


def _of_log_book(kept: KeptRecipe, *, older: bool = False) -> RecipeOffered:
    from soakwitness.analysis.errors import AnalysisError
    from soakwitness.analysis.recipes.recipe_file import parse_recipe

    used = f"{'as it was used' if older else 'used'} {shown_time(kept.last_utc, kept.zone)[:10]}"
    try:
        steel = parse_recipe(kept.text, kept.name).steel
    except AnalysisError:
        steel = "it cannot be read any more"
    return RecipeOffered(kept.digest, kept.name, ", ".join(filter(None, (steel, used))))


def _piece(book: LogBook, piece: Piece) -> Iterator[PieceOffered]:
    """A piece that was in no run yet."""
    from soakwitness.analysis.logbook.charges import runs_of_piece

    charged = runs_of_piece(book, piece.id)
    if any(one.run is not None for one in charged):
        return
    last = charged[-1] if charged else None
    thick = None if piece.thickness_mm is None else f"{piece.thickness_mm:g} mm"
    foil = None if last is None or last.foil is None else "foil" if last.foil else "bare"
    waits = None if last is None else f"next run of {last.waits_for}"
    says = ", ".join(filter(None, (piece.steel, thick, foil, waits)))
    yield PieceOffered(piece.id, says, None if last is None else last.waits_for)


def begun_with(values: Values, found: PlanOffered) -> Values:
    """What a form begins with: the furnace used last, its charge that waits, and the recipe where there is but one."""
    furnace = first(values, "furnace") or next(iter(found.furnaces), "")
    waiting = [one.piece for one in found.pieces if furnace and one.waits_for == furnace]
    recipe = found.recipes[0].digest if len(found.recipes) == 1 else ""
    usual = {"recipe_path": [recipe], "furnace": [furnace], "pieces": waiting}
    return filled_in(usual | values)


def unfit(values: Values, found: PlanOffered, desk: Desk) -> Filled | None:
    """What is wrong with what was filled in, at its field, in words of the page; None where a plan can be made."""

    def refused(at: str, words: str) -> Filled:
        return Filled(values, words, at)

    recipe, thickness, count = (first(values, name) for name in ("recipe_path", "thickness_mm", "count"))
    if found.recipe(recipe) is None:
        gone = "The recipe that was chosen is not known here any more. " if recipe else ""
        return refused("recipe_path", f"{gone}Choose the recipe of the run.")
    temper, furnace = first(values, "temper_path"), first(values, "furnace")
    if temper and found.recipe(temper) is None:
        return refused("temper_path", "The temper's recipe that was chosen is not known here any more. Choose another.")
    if (packet := first(values, "packet_path")) and packet not in {one.digest for one in found.packets}:
        return refused("packet_path", "The packet that was chosen is not known here any more. Choose another.")
    if first(values, "unit") not in ("", "C", "F"):
        return refused("unit", f"{first(values, 'unit')!r} is no unit. Choose one of these.")
    if furnace and furnace not in found.furnaces:
        return refused("furnace", f"{furnace}: no furnace of this name is known here. Choose one of these.")
    if values.get("pieces", ()) and (thickness or count):
        return refused("thickness_mm", "Pieces are chosen above, which bring their thickness: empty this, or them.")
    mm, blades = _number(thickness), _number(count)
    if thickness and (mm is None or not 0.0 < mm <= MOST_MM):
        return refused("thickness_mm", f"{thickness!r} is no thickness in mm. Write one such as 2.6, up to 100.")
    if count and (blades is None or blades != int(blades) or not 1 <= blades <= MOST_BLADES):
        return refused("count", f"{count!r} is no number of packets. Write one from 1 to {MOST_BLADES}.")
    if (foil := first(values, "foil")) not in ("", "yes", "no"):
        return refused("foil", f"{foil!r} is neither yes nor no.")
    hour, day = first(values, "hour"), first(values, "day")
    if hour and not HOUR.fullmatch(hour):
        return refused("hour", f"{hour!r} is no hour. Write one such as 8:30.")
    if day and (not hour or not _is_day(day)):
        return refused("hour" if _is_day(day) else "day", _day_words(day))
    try:
        starts = dict(address_of(values, desk))["starts"]
    except LogBookError as error:
        return refused("hour", str(error).partition(" Write it as")[0])
    if day and starts < desk.stamp("book").at_utc:
        return refused("day", f"{day} {hour} lies behind. Choose a day from today on.")
    return None


def _number(text: str) -> float | None:
    found = re.fullmatch(r"\d{1,4}(?:[.,]\d{1,4})?", text)
    return float(text.replace(",", ".")) if found else None


def _is_day(text: str) -> bool:
    try:
        return bool(date.fromisoformat(text))
    except ValueError:
        return False


def _day_words(day: str) -> str:
    if _is_day(day):
        return f"{day} is a day: say the hour, too."
    return f"{day!r} is no day. Write one such as 2026-12-24."


def clock_of(values: Mapping[str, Sequence[str]]) -> dict[str, str]:
    """Hour and day as the form has them: those filled in, else those of the moment in the address."""
    from soakwitness.analysis.record.moments import from_utc_text

    shown = {name: next(iter(values.get(name, ())), "") for name in CLOCK}
    starts = next(iter(values.get("starts", ())), "")
    if any(shown.values()) or not starts:
        return shown
    try:
        local = from_utc_text(starts).astimezone()
    except ValueError:
        return shown
    return {"hour": f"{local:%H:%M}", "day": f"{local:%Y-%m-%d}"}


def address_of(values: Values, desk: Desk) -> list[tuple[str, str]]:
    """What was filled in as an address that stays: its hour is a moment.

    Raises LogBookError for an hour that a change of the clocks skips or repeats, and for what is no moment at all.
    """
    from soakwitness.firmware_bridge.common.zones import computer_zone

    hour, day, zone = first(values, "hour"), first(values, "day"), computer_zone()
    at = f"{day}T{hour.zfill(5)}" if day else hour or first(values, "starts") or None
    starts, _ = start_of(at, zone, now=desk.now())
    said = {name: first(values, name) for name in ONE} | {"starts": starts}
    pieces = [("pieces", name) for name in values.get("pieces", ())]
    return [(name, text) for name, text in said.items() if text] + pieces
