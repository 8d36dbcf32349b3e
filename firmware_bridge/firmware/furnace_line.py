"""Program for a microcontroller with SPI thermocouple converters: prints one text line a reading.

Copy this file to a MicroPython board as ``main.py`` and change the settings; nothing else is needed there. What is not
in ``run`` is the same under CPython, where it is tested. The line is described in LINE.md beside this file.
"""

try:
    from collections.abc import Callable
except ImportError:  # MicroPython, which reads over annotations
    Callable = None  # type: ignore[assignment]

# ---- settings -------------------------------------------------------------------------------------------------------
EVERY_MS = 1000  # from one line to the next
HEADER_EVERY = 60  # lines from one description of the line to the next
SPI_NUMBER = 0
SPI_BAUD = 1000000
CONVERTER = "frame"  # "frame": described below; "registers": set up and read by register_converter.py beside this file
CHIP_SELECT_PINS = (17,)  # one for each converter, in the order of the line
DOOR_PIN: "int | None" = None  # pin of a switch to ground that is closed while the door is shut; None: there is none
FOOT_PIN: "int | None" = None  # pin of a foot switch to ground that is closed while pressed; None: there is none

# How a converter sends a reading: one frame, highest bit first. These are the numbers of a converter with a 32-bit
# frame: junction in bits 31..18 (signed, 0.25 C), cold junction in bits 15..4 (signed, 0.0625 C), faults in bits 2..0.
FRAME_BYTES = 4
JUNCTION_SHIFT, JUNCTION_BITS, JUNCTION_STEP = 18, 14, "0.25"
COLD_SHIFT, COLD_BITS, COLD_STEP = 4, 12, "0.0625"
FAULT_MASK = 0b111
SUMMARY_SHIFT: "int | None" = 16  # bit that is set with any fault and with none else; None: there is no such bit
RESERVED_MASK = 1 << 17 | 1 << 3  # bits that are always 0
FAULT_WORDS = ("open circuit", "short to ground", "short to supply", "converter silent", "frame damaged")
SILENT = 0b1000  # added here: the frame is all zeros or all ones, which no converter sends at room temperature
DAMAGED = (
    0b11000  # added here: bits that cannot be so, or two frames that differ; with SILENT, for readers of four bits
)
AGREE_JUNCTION, AGREE_COLD = 40, 16  # raw steps by which two frames read one after the other may differ
WATCHDOG_MS: "int | None" = 8000  # the board restarts by itself where the program hangs so long; None: it does not
# ---------------------------------------------------------------------------------------------------------------------


def crc16(data: bytes) -> int:
    """CRC-16/IBM-3740: polynomial 0x1021, start 0xFFFF, not reflected."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte << 8
        for _ in range(8):
            crc = (crc << 1) ^ 0x1021 if crc & 0x8000 else crc << 1
        crc &= 0xFFFF
    return crc


def signed(word: int, shift: int, bits: int) -> int:
    """Cut a two's complement number out of a word."""
    value = (word >> shift) & ((1 << bits) - 1)
    return value - (1 << bits) if value >> (bits - 1) else value


def decode(frame: bytes) -> tuple[int, int, int]:
    """Give raw junction, raw cold junction and fault bits of a frame."""
    word = 0
    for byte in frame:
        word = word << 8 | byte
    faults = word & FAULT_MASK
    summary = bool(faults) if SUMMARY_SHIFT is None else bool(word >> SUMMARY_SHIFT & 1)
    if word & RESERVED_MASK or summary != bool(faults):  # displaced by a bit it would read half or twice as hot
        faults = DAMAGED
    if word in (0, (1 << 8 * len(frame)) - 1):
        faults = SILENT
    return signed(word, JUNCTION_SHIFT, JUNCTION_BITS), signed(word, COLD_SHIFT, COLD_BITS), faults


class Kind:
    """How one kind of converter sends its readings."""

    def __init__(
        self,
        decode: "Callable[[bytes], tuple[int, int, int]]",
        steps: tuple[str, str],
        words: "tuple[str, ...]",
        agree: tuple[int, int],
    ) -> None:
        self.decode = decode
        self.steps = steps
        self.words = words
        self.agree = agree


FRAME = Kind(decode, (JUNCTION_STEP, COLD_STEP), FAULT_WORDS, (AGREE_JUNCTION, AGREE_COLD))


def settled(
    first: tuple[int, int, int], second: tuple[int, int, int], agree: tuple[int, int] = FRAME.agree
) -> tuple[int, int, int]:
    """Give the newer of two frames read one after the other: a fault that either has, or that they do not agree."""
    if first[2] or second[2]:
        return second[0], second[1], first[2] | second[2]
    apart = abs(first[0] - second[0]) > agree[0] or abs(first[1] - second[1]) > agree[1]
    return second[0], second[1], DAMAGED if apart else 0


def closed(text: str) -> str:
    """Put the checksum and the line end behind a text."""
    return f"{text}*{crc16(text.encode()):04X}\r\n"


def header(converters: int, kind: Kind = FRAME) -> str:
    """Describe the line: the names of its fields, the steps of the raw numbers, the fault bits."""
    names = ["seq", "ms"]
    for number in range(1, converters + 1):
        names += [f"j{number}", f"c{number}", f"f{number}"]
    faults = ", ".join(f"{bit} {word}" for bit, word in enumerate(kind.words) if word)
    fields = ",".join(names + ["door", "foot"])
    return closed(f"# furnace line 1; {fields}; j x {kind.steps[0]} C, c x {kind.steps[1]} C; f bits: {faults}")


def line(sequence: int, ms: int, readings: list[tuple[int, int, int]], door: int, foot: int) -> str:
    """Write one reading; ``readings`` has junction, cold junction and fault bits of each converter."""
    fields = [sequence, ms]
    for reading in readings:
        fields += reading
    return closed(",".join(str(field) for field in fields + [door, foot]))


def event(text: str) -> str:
    """Write what is worth an event of the run."""
    return closed(f"# event; {text}")


class Talker:
    """Counts lines, remembers a short press until the next line, and says when a line is due.

    ``read_frame(n)`` gives the frame of converter ``n``; ``door`` and ``foot`` give 1 for open and pressed.
    """

    def __init__(
        self,
        converters: int,
        read_frame: "Callable[[int], bytes]",
        door: "Callable[[], int]",
        foot: "Callable[[], int]",
        write: "Callable[[str], object]",
        kind: Kind = FRAME,
    ) -> None:
        self.converters = converters
        self.read_frame = read_frame
        self.door = door
        self.foot = foot
        self.write = write
        self.kind = kind
        self.sequence = 0
        self.due_ms = 0
        self.pressed = 0
        self.failing = list(range(0))  # converters that cannot be read

    def tell(self, text: str) -> None:
        """Say what happened."""
        self.write(event(text))

    def reading(self, number: int) -> tuple[int, int, int]:
        """Read a converter twice; a bus that fails is a fault of this converter and ends nothing."""
        try:
            first = self.kind.decode(self.read_frame(number))
            found = settled(first, self.kind.decode(self.read_frame(number)), self.kind.agree)
        except OSError as error:
            if number not in self.failing:
                self.failing.append(number)
                self.tell(f"converter {number + 1} cannot be read: {error}")
            return 0, 0, SILENT
        if number in self.failing:
            self.failing.remove(number)
            self.tell(f"converter {number + 1} can be read again")
        return found

    def step(self, now_ms: int) -> None:
        """Look at the foot switch, and send a line where one is due; call this every few milliseconds."""
        self.pressed |= self.foot()
        if now_ms < self.due_ms:
            return
        self.due_ms += EVERY_MS
        if now_ms >= self.due_ms:  # late by more than a line: no burst to catch up
            self.due_ms = now_ms + EVERY_MS
        if self.sequence % HEADER_EVERY == 0:
            self.write(header(self.converters, self.kind))
        readings = [self.reading(number) for number in range(self.converters)]
        self.write(line(self.sequence, now_ms, readings, self.door(), self.pressed))
        self.sequence += 1
        self.pressed = 0


def going_on(talker: Talker, now_ms: int) -> bool:
    """Take a step and say whether it went well; no error ends the program."""
    try:
        talker.step(now_ms)
    except Exception as error:
        try:
            talker.tell(f"error: {error!r}")
        except Exception:
            return False  # nobody hears it: the lines that are missing tell
        return False
    return True


def run() -> None:
    """Run for ever on a board."""
    import sys
    import time

    import machine  # type: ignore[import-not-found]
    from machine import SPI, Pin

    selects = [Pin(number, Pin.OUT, value=1) for number in CHIP_SELECT_PINS]

    def transfer(number: int, data: bytes) -> bytes:
        came = bytearray(len(data))
        selects[number](0)
        try:
            spi.write_readinto(data, came)
        finally:
            selects[number](1)
        return bytes(came)

    if CONVERTER == "registers":
        registers = __import__("register_converter")  # a second file on the board; here it belongs to a package
        kind = Kind(
            registers.decode,
            (registers.JUNCTION_STEP, registers.COLD_STEP),
            registers.FAULT_WORDS,
            (registers.AGREE_JUNCTION, registers.AGREE_COLD),
        )
        chips = [
            registers.RegisterConverter(lambda data, number=number: transfer(number, data))
            for number in range(len(selects))
        ]
        read_frame = lambda number: chips[number].read()  # noqa: E731
        phase = registers.SPI_PHASE
    else:
        kind, phase = FRAME, 0
        read_frame = lambda number: transfer(number, bytes(FRAME_BYTES))  # noqa: E731
    spi = SPI(SPI_NUMBER, baudrate=SPI_BAUD, polarity=0, phase=phase)

    def switch(pin_number: "int | None", when_closed: int) -> "Callable[[], int]":
        if pin_number is None:
            return lambda: 0
        pin = Pin(pin_number, Pin.IN, Pin.PULL_UP)  # closed to ground reads 0
        return lambda: 1 - when_closed if pin() else when_closed

    talker = Talker(len(selects), read_frame, switch(DOOR_PIN, 0), switch(FOOT_PIN, 1), sys.stdout.write, kind)
    watchdog = machine.WDT(timeout=WATCHDOG_MS) if WATCHDOG_MS and hasattr(machine, "WDT") else None
    hung = machine.reset_cause() == getattr(machine, "WDT_RESET", -1)
    talker.tell("started by the watchdog: the program hung" if hung else "started")
    before, now_ms = time.ticks_ms(), 0  # type: ignore[attr-defined]
    while True:
        ticks = time.ticks_ms()  # type: ignore[attr-defined]
        now_ms += time.ticks_diff(ticks, before)  # type: ignore[attr-defined]  # the board's own count wraps
        before = ticks
        if going_on(talker, now_ms) and watchdog:
            watchdog.feed()  # only then: where every step fails, the watchdog begins anew
        time.sleep_ms(5)  # type: ignore[attr-defined]


if __name__ == "__main__":
    run()
