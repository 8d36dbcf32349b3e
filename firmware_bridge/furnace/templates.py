"""Commented furnace files to start from, one for each kind of link."""

from __future__ import annotations

from soakwitness.firmware_bridge.furnace.sensors_and_links import LinkKind

_HEAD = """\
# Furnace file of soakwitness. Lines that begin with # are notes; take the # away to use what stands behind it.
# Check it with: soakwitness furnace check FILE     Try it with: soakwitness furnace read FILE
# The logger only reads. It is no safety device: the furnace needs its own over-temperature cut-out.

name = "kiln shed furnace"
unit = "C"                      # what the instrument shows and sends: "C" or "F"

[sample]
every_s = 1.0                   # seconds from one reading to the next

[link]
"""

_SERIAL = """\
port = "/dev/ttyUSB0"           # soakwitness ports lists yours; a name under /dev/serial/by-id/ stays the same.
                                # Windows: "COM3". Serial-to-network adapter: "socket://192.0.2.7:4001"
baud = 9600
parity = "none"                 # "none", "even" or "odd"
data_bits = 8
stop_bits = 1
"""

_LIMITS = """\
# [rack]                        # packets that stand upright side by side lag more than one alone
# slots = 6
# spacing_mm = 15               # from the middle of one slot to the middle of the next
# width_mm = 40                 # of the usual packet: it stands on its edge
# length_mm = 250
# stands_on = "floor"           # or "shelf": heat comes in from below too

[limits]                        # what this furnace cannot do: readings beyond it are dropped and counted
max_temp = 1300
min_temp = -10
# max_rate_per_s = 20           # degrees per second

[alarm]
over = 1150                     # a bell and the command below; the furnace's own cut-out is what protects it
# command = ["notify-send", "furnace"]   # run without a shell
# bell = true
# post = "https://..."          # one short message to an address of your own; nothing is sent without it
# silent_s = 10.0               # no reading for so long is an alarm
"""

_MORE_OF_A_SENSOR = """\
# thermocouple = "K"            # B E J K N R S T
# tolerance_class = "2"         # of new wire: "1", "2", "special", "standard"
# expanded_uncertainty = 3.0    # from a calibration, k = 2, a difference in the unit above
# instrument_uncertainty = 1.0  # of what reads it, its cold junction included, k = 2
# resolution = 0.1
# serial = "TC-014"
# position = "back wall, 60 mm above the hearth"
# input_offset = 0.0            # what is set in the instrument
"""

_MODBUS = (
    _HEAD
    + """\
kind = "modbus"
"""
    + _SERIAL
    + """\
framing = "rtu"                 # "rtu" or "ascii"
unit_id = 1                     # the instrument's address, 1 to 247
timeout_s = 0.5                 # well above the slowest answer
# silence_s = 0.01              # at least this pause between frames; the standard's own is always kept
# late_reply_s = 65             # so long an answer that did not come in time may still come
# echo = true                   # the adapter hands back what is sent
# dtr = false                   # line states set before the port is opened
# rts = false

# Registers are the numbers sent on the wire: where a manual prints 40001, it means table = "holding", register = 0.
[[sensor]]
name = "control"
role = "control"                # control recording load reference survey ambient over-temperature
table = "holding"               # "holding" (function 3) or "input" (function 4)
register = 0
format = "int16"                # int16 uint16 int32 uint32 float32
# word_order = "high first"     # numbers of two registers: "high first" or "low first"
scale = 0.1                     # raw number x scale + offset = temperature; 10503 x 0.1 = 1050.3
# offset = 0.0
fault_values = [32767, -32768]  # raw numbers that mean "no reading", such as an open circuit
# fault_register = 5            # a register of the same table whose bits say what is wrong
# fault_words = ["open circuit", "over range"]   # a word for bit 0, 1, ...; "" for a bit that is no fault
"""
    + _MORE_OF_A_SENSOR
    + """
# [[sensor]]
# name = "load"
# role = "load"                 # a thermocouple in a dummy piece among the work
# thickness_mm = 3.0            # of that dummy
# table = "holding"
# register = 1
# scale = 0.1

# [[signal]]
# name = "setpoint"             # "setpoint" in the unit above, "output" in percent
# table = "holding"
# register = 2
# scale = 0.1

# [[contact]]
# name = "door"
# means = "door"                # load pull plates hand-warm door note, or "next": the next expected act
# table = "input"
# register = 10
# bit = 0
# closed_is = 1                 # the raw number that means open door or pressed switch

"""
    + _LIMITS
)

_LINES = (
    _HEAD
    + """\
kind = "lines"                  # the instrument sends one line of text a reading; nothing is ever sent to it
"""
    + _SERIAL
    + """\
timeout_s = 3.0                 # longer than the time from one line to the next
# dtr = false                   # line states set before the port is opened; true resets many boards,
# rts = false                   # but some send nothing without it
separator = ","                 # fields are counted from 1; " " stands for any run of blanks
# pattern = 'T1=(?P<work>-?[0-9.]+)'   # instead of a separator: named groups; sensors then say group = "work"
# decimal = "."                 # before the fraction; the other of point and comma may set thousands apart
# agree_within = 2              # lines without checksum: one counts if the line before differs by no more
checksum = "none"               # none xor crc16 crc16-modbus crc16-xmodem crc32: hex digits after the line's last *
# sequence = 1                  # the field that counts the lines: lost lines and restarts are then noticed

[[sensor]]
name = "control"
role = "control"                # control recording load reference survey ambient over-temperature
field = 1
# scale = 1.0                   # number x scale + offset = temperature
# offset = 0.0
# fault_values = [9999]         # numbers that mean "no reading"
# fault_field = 4               # a whole number whose bits say what is wrong; 0 is well
# fault_words = ["open circuit", "short to ground"]   # a word for bit 0, 1, ...; "" for a bit that is no fault
"""
    + _MORE_OF_A_SENSOR
    + """
# [[sensor]]
# name = "load"
# role = "load"                 # a thermocouple in a dummy piece among the work
# thickness_mm = 3.0            # of that dummy
# field = 2

# [[signal]]
# name = "setpoint"             # "setpoint" in the unit above, "output" in percent
# field = 3

# [[contact]]
# name = "foot switch"
# means = "next"                # load pull plates hand-warm door note, or "next": the next expected act
# field = 5
# closed_is = 1                 # the number that means open door or pressed switch

"""
    + _LIMITS
)

_SIMULATED = (
    _HEAD.replace("kiln shed furnace", "simulated furnace")
    + """\
kind = "simulated"              # no hardware: the program brings its own furnace
speaks = "modbus"               # "modbus" or "lines"

[[sensor]]
name = "control"
role = "control"
table = "input"
register = 0
scale = 0.1
fault_values = [32767]

[[sensor]]
name = "load"
role = "load"
thickness_mm = 3.0
table = "input"
register = 1
scale = 0.1
fault_values = [32767]

[[signal]]
name = "setpoint"
table = "input"
register = 4
scale = 0.1

[[signal]]
name = "output"
table = "input"
register = 5
scale = 0.1

[[contact]]
name = "door"
means = "door"
table = "input"
register = 6
bit = 0

"""
    + _LIMITS
)

TEMPLATES: dict[LinkKind, str] = {"modbus": _MODBUS, "lines": _LINES, "simulated": _SIMULATED}
