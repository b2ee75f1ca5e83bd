"""The line to a machine: bytes, lines, acknowledgements, getting back in step, the wire log.

It does not know what a command means. What others may use is named here; the parts that need
asyncio and a port are reached through `asleft.controller.line`, which keeps this door light.
"""

from asleft.link.answer import Answer, Line, LineFacts, Notice, NoticeKind
from asleft.link.guard import GuardLimits
from asleft.link.hearing import Temperature, sensor_is_broken, temperatures
from asleft.link.wirelog import WireChunk, read_wire_log

__all__ = [
    "Answer",
    "GuardLimits",
    "Line",
    "LineFacts",
    "Notice",
    "NoticeKind",
    "Temperature",
    "WireChunk",
    "read_wire_log",
    "sensor_is_broken",
    "temperatures",
]
