"""One text line into raw numbers: checksum, fields or pattern, fault texts. No port, no waiting."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from soakwitness.firmware_bridge.furnace.sensors_and_links import Checksum, Contact, Furnace, LineSource, Sensor, Signal
from soakwitness.firmware_bridge.links.checksums import checksum
from soakwitness.firmware_bridge.links.linear import put_back
from soakwitness.firmware_bridge.links.numbers import fault_word, is_fault, scaled

LONGEST_LINE = 1000
_EVENT, _LONGEST_EVENT = "# event; ", 200
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)
_SET_APART = {mark: re.compile(rf"[+-]?[1-9]\d{{0,2}}(\{mark}\d{{3}})+", re.ASCII) for mark in ".,"}
_ONE_COMMA = re.compile(r"[+-]?\d{1,4},\d{1,2}", re.ASCII)
_WHOLE = re.compile(r"\d{1,18}", re.ASCII)
_DEGREE = re.compile(rb"\xc2?\xb0(?=[CF])")  # the one sign beyond ASCII that instruments print: in UTF-8 or Latin-1


@dataclass(frozen=True)
class Line:
    """A good line: what a Reading needs of it. ``sequence`` is None where the furnace file names none."""

    values: Mapping[str, float | None]
    faults: Mapping[str, str]
    sequence: int | None


class LineReader:
    """Reads the lines of one furnace file."""

    def __init__(self, furnace: Furnace) -> None:
        self._furnace = furnace
        self._pattern = re.compile(furnace.link.pattern) if furnace.link.pattern else None
        self._separator = furnace.link.separator or ","
        self._decimal = furnace.link.decimal or ("." if self._is_split_by_commas else ", or .")

    def parse(self, data: bytes) -> Line | None:
        """Read a line without its end; None where it is garbled or not such a line."""
        body = self._body(data)
        texts = None if body is None else self._texts(body)
        if texts is None:
            return None
        sequence = None
        if self._furnace.link.sequence is not None:
            text = self._text(texts, self._furnace.link.sequence)
            if not _WHOLE.fullmatch(text):
                return None
            sequence = int(text)
        return self._line(texts, sequence)

    def event(self, data: bytes) -> str | None:
        """Give what a remark line ``# event; ...`` tells, None where it tells nothing or is garbled."""
        body = self._body(data)
        if body is None or not body.startswith(_EVENT):
            return None
        return (
            "the instrument says: " + "".join(c for c in body.removeprefix(_EVENT) if c.isprintable())[:_LONGEST_EVENT]
        )

    def _body(self, data: bytes) -> str | None:
        """Check the checksum; give what it covers, as text."""
        body = _covered(self._furnace.link.checksum, data)
        try:
            return None if body is None else plain_text(body)
        except UnicodeDecodeError:
            return None

    def _texts(self, body: str) -> Mapping[str, str] | None:
        """Give fields by number (as text) or groups by name; None where one that is needed is missing."""
        if self._pattern:
            found = self._pattern.search(body)
            return {key: text or "" for key, text in found.groupdict().items()} if found else None
        texts = {str(number): text for number, text in enumerate(split_fields(body, self._separator), 1)}
        return texts if all(str(source.field) in texts for source in _sources(self._furnace)) else None

    @property
    def _is_split_by_commas(self) -> bool:
        return self._pattern is None and self._separator == ","

    def _asked(self, texts: Mapping[str, str], text: str) -> bool:
        """Whether a comma may be a decimal one or another, and the furnace file does not say which."""
        if self._furnace.link.decimal is not None:
            return False
        if not self._is_split_by_commas:
            return comma_is_unclear(text)
        only_the_first = all(source.field == 1 for source in _sources(self._furnace))
        return only_the_first and line_is_unclear(",".join(texts.values()))

    def _text(self, texts: Mapping[str, str], source: LineSource) -> str:
        return texts[source.group or str(source.field)]

    def _line(self, texts: Mapping[str, str], sequence: int | None) -> Line:
        values: dict[str, float | None] = {}
        faults: dict[str, str] = {}
        for part in self._furnace.parts:
            assert isinstance(part.source, LineSource)
            text = self._text(texts, part.source)
            raw = None if self._asked(texts, text) else _number(text, self._decimal)
            if isinstance(part, Contact):
                values[part.name] = None if raw is None else float(raw == part.closed_is)
                continue
            fault = self._fault(part, raw, text, texts)
            if fault:
                faults[part.name] = fault
            values[part.name] = None if fault or raw is None else scaled(part, raw)
        put_back(self._furnace, values, faults)
        return Line(values, faults, sequence)

    def _fault(self, part: Sensor | Signal, raw: float | None, text: str, texts: Mapping[str, str]) -> str | None:
        if isinstance(part, Sensor) and isinstance(part.fault_source, LineSource):
            bits = self._text(texts, part.fault_source)
            fault = fault_word(int(bits), part.fault_words) if _WHOLE.fullmatch(bits) else "fault bits missing"
            if fault:
                return fault
        if raw is None and self._asked(texts, text):
            says = ",".join(texts.values()) if self._is_split_by_commas else text
            return f'the line says "{says[:20]}": set decimal in [link], "," where that is one number with a fraction'
        if raw is None:
            return f'the line says "{text[:20]}"' if text else "the field is empty"
        return f"fault value {raw:g}" if is_fault(raw, part.fault_values, part.source) else None


def guess_checksum(lines: Sequence[bytes]) -> Checksum:
    """Give the kind of checksum that all these lines carry; ``none`` where no kind fits them all."""
    kinds: tuple[Checksum, ...] = ("xor", "crc16", "crc16-modbus", "crc16-xmodem", "crc32")
    return next((kind for kind in kinds if lines and all(_covered(kind, line) is not None for line in lines)), "none")


def guess_separator(text: str) -> str:
    """Give the separator that cuts a line into most numbers, and of several such the one that leaves least else."""

    def fit(separator: str) -> tuple[int, int, bool]:
        fields = split_fields(text, separator)
        numbers = sum(_number(field, "." if separator == "," else ", or .") is not None for field in fields)
        return numbers, numbers - len(fields), separator != "," or not any(map(comma_is_unclear, text.split()))

    return max(",;\t |", key=fit)


def plain_text(data: bytes) -> str:
    """Give a line as text; raises UnicodeDecodeError where it holds more than ASCII and degree signs."""
    return "°".join(part.decode("ascii") for part in _DEGREE.split(data))


def split_fields(text: str, separator: str) -> list[str]:
    """Cut a line into its fields, without the blanks around them."""
    return [field.strip() for field in (text.split() if separator == " " else text.split(separator))]


def comma_is_unclear(text: str) -> bool:
    """Whether a number could be one with a fraction or one with its thousands set apart: ``1,012``."""
    return _SET_APART[","].fullmatch(text) is not None


def line_is_unclear(text: str) -> bool:
    """Whether a line could be one number with a fraction or two fields: ``100,3``."""
    return _ONE_COMMA.fullmatch(text) is not None


def _number(text: str, decimal: str) -> float | None:
    """Read a number with one of these decimal marks; None where the text is none.

    Where one mark is named, the other may set thousands apart.
    """
    if len(decimal) == 1:
        other = "," if decimal == "." else "."
        whole, mark, fraction = text.partition(decimal)
        text = (whole.replace(other, "") if _SET_APART[other].fullmatch(whole) else whole) + mark + fraction
        if other in text:
            return None
    if "," in decimal:
        text = text.replace(",", ".")
    return float(text) if _NUMBER.fullmatch(text) else None


def _covered(kind: Checksum, data: bytes) -> bytes | None:
    """Give what the checksum covers; None where it is not right."""
    if kind == "none":
        return data
    body, star, digits = data.removeprefix(b"$").rpartition(b"*")
    want, size = checksum(kind, body)
    return body if star and digits.strip().upper() == f"{want:0{size}X}".encode() else None


def _sources(furnace: Furnace) -> list[LineSource]:
    extra = [sensor.fault_source for sensor in furnace.sensors]
    return [
        s
        for s in (*(part.source for part in furnace.parts), *extra, furnace.link.sequence)
        if isinstance(s, LineSource)
    ]
