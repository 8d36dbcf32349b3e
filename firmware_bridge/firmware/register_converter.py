"""Driver for SPI thermocouple converters that are set up and read by register commands; LINE.md says which those are.

Copy this file to the board beside ``main.py`` and set ``CONVERTER = "registers"`` there. The addresses and bits below
are those of a converter with 16 registers, 19-bit junction and 14-bit cold junction; it linearises by itself.
"""

try:
    from collections.abc import Callable
except ImportError:  # MicroPython, which reads over annotations
    Callable = None  # type: ignore[assignment]

# ---- settings -------------------------------------------------------------------------------------------------------
THERMOCOUPLE = "K"
MAINS_HZ = 50  # hum of 50 or 60 Hz is filtered out
# ---------------------------------------------------------------------------------------------------------------------

SPI_PHASE = 1  # data taken at the falling edge
REGISTERS = 16  # read in one go from address 0
WRITE = 0x80  # added to an address to write there
TYPES = "BEJKNRST"  # their places are the codes
SETUP = (
    0x80 | 0x10 | (MAINS_HZ == 50),  # register 0: converting all the time, open circuits looked for, filter
    0x20 | TYPES.index(THERMOCOUPLE),  # register 1: mean of four, type of wire
)
COLD_AT, JUNCTION_AT, FAULTS_AT = 10, 12, 15
JUNCTION_STEP, COLD_STEP = "0.0078125", "0.015625"
AGREE_JUNCTION, AGREE_COLD = 1280, 64  # 10 and 1 degrees, in raw steps
SILENT, DAMAGED = 0b1000, 0b11000  # as in furnace_line.py
FAULT_WORDS = (
    "open circuit",
    "voltage out of range",
    "",
    "converter silent",
    "frame damaged",
    "beyond the type",
    "cold junction out of range",
)
FAULT_BITS = ((0, 0), (1, 1), (6, 5), (7, 6))  # bit of the converter's status, bit of the line


def signed(data: bytes, unused: int) -> int:
    """Two's complement of big-endian bytes without their unused low bits."""
    value = 0
    for byte in data:
        value = value << 8 | byte
    bits = 8 * len(data)
    return (value - (1 << bits) if value >> (bits - 1) else value) >> unused


def decode(registers: bytes) -> "tuple[int, int, int]":
    """Give raw junction, raw cold junction and fault bits of all registers; a set-up that is lost is damage."""
    cold = signed(registers[COLD_AT : COLD_AT + 2], 2)
    junction = signed(registers[JUNCTION_AT : JUNCTION_AT + 3], 5)
    faults = 0
    for status_bit, line_bit in FAULT_BITS:
        faults |= (registers[FAULTS_AT] >> status_bit & 1) << line_bit
    if tuple(registers[:2]) != SETUP:
        faults = DAMAGED
    if registers in (bytes(REGISTERS), b"\xff" * REGISTERS):
        faults = SILENT
    return junction, cold, faults


class RegisterConverter:
    """One converter; ``transfer`` sends bytes with its chip select low and gives what came meanwhile."""

    def __init__(self, transfer: "Callable[[bytes], bytes]") -> None:
        self.transfer = transfer
        self.set_up = False

    def read(self) -> bytes:
        """Read all registers; a converter that lost its set-up, as after a dip of its supply, gets it anew."""
        if not self.set_up:
            for address, value in enumerate(SETUP):
                self.transfer(bytes((WRITE | address, value)))
        registers = self.transfer(bytes(1 + REGISTERS))[1:]
        self.set_up = tuple(registers[:2]) == SETUP
        return registers
