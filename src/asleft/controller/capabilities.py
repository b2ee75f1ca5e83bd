"""Who the machine says it is, where it stands, how warm it is: short answers, read by shape.

Pure: text in, values out, nothing believed that is not there. Not for settings (see `report`).
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from asleft.link import Temperature, temperatures

_FIELD = re.compile(r"\b([A-Z][A-Z0-9_]{2,}):")
_CAPABILITY = re.compile(r"\bCap:\s*([A-Za-z0-9_]+):\s*([01])\b", re.IGNORECASE)
_POSITION = re.compile(r"(?<![A-Za-z])([XYZE])\s*:?\s*(-?\d+(?:\.\d*)?)")
_CARD = re.compile(r"printing byte\s*:?\s*(\d+)\s*/\s*(\d+)", re.IGNORECASE)
_PERCENT = re.compile(r"(\d+(?:\.\d+)?)\s*%|\b(?:FR\s*:|S)\s*(\d+(?:\.\d+)?)\b")


@dataclass(frozen=True)
class Identity:
    """What M115 answered.

    `fields` are its `KEY:value` pairs, `capabilities` its `Cap:` lines. `fingerprint` tells
    this machine from another of its kind, or is None where the answer holds nothing that could.
    """

    raw: str
    fields: dict[str, str]
    capabilities: dict[str, bool]
    fingerprint: str | None

    def to_dict(self) -> dict[str, Any]:
        """JSON values."""
        return dict(vars(self))


def parse_identity(lines: Iterable[str]) -> Identity:
    """Read the answer to M115: `KEY:value` with blanks or commas between, and `Cap:` lines."""
    texts = [t.strip() for t in lines if t.strip()]
    fields: dict[str, str] = {}
    capabilities: dict[str, bool] = {}
    for text in texts:
        found = _CAPABILITY.findall(text)
        capabilities |= {name.upper(): on == "1" for name, on in found}
        marks = [] if found else list(_FIELD.finditer(text))
        ends = [mark.start() for mark in marks[1:]] + [len(text)]
        for mark, end in zip(marks, ends, strict=False):
            fields[mark.group(1)] = text[mark.end() : end].strip().rstrip(",").strip()
    unique = fields.get("UUID", "")
    real = len(set(re.sub(r"[^0-9A-Fa-f]", "", unique))) > 1  # all zeros are a blank form
    return Identity("\n".join(texts), fields, capabilities, f"UUID:{unique}" if real else None)


def parse_temperatures(texts: Iterable[str]) -> dict[str, Temperature]:
    """Sensors by name: `T0`, `T1`, … and `B` (bed), `C` (chamber); the first report counts.

    A lone `T` is `T0`; beside `T0`, `T1` it is the active tool said twice, and left out.
    A broken sensor stays what it says (-15, 0, infinity): whoever heats judges it.
    """
    found: dict[str, Temperature] = {}
    for text in texts:
        for one in temperatures(text):
            found.setdefault(one.sensor, one)
    if "T" in found:
        lone = found.pop("T")
        found.setdefault("T0", lone)
    return found


def parse_position(texts: Iterable[str]) -> dict[str, float]:
    """Read `X:0.00 Y:0.00 Z:5.00 E:0.00 Count X:0 …`, mm; counts are left out."""
    for text in texts:
        words = _POSITION.findall(re.split(r"\bCount\b", text, flags=re.IGNORECASE)[0])
        if {"X", "Y", "Z"} <= {name for name, _ in words}:
            return {name: float(value) for name, value in words}
    return {}


def parse_card_progress(texts: Iterable[str]) -> tuple[int, int] | None:
    """Byte and size of a print from the card, from the answer to M27; None where none is told."""
    for text in texts:
        match = _CARD.search(text)
        if match:
            return int(match.group(1)), int(match.group(2))
    return None


def parse_percent(texts: Iterable[str]) -> float | None:
    """An override as told: `Flow: 95%`, `FR:95%` or `M221 S95`; None where none is told."""
    found = (match for match in map(_PERCENT.search, texts) if match)
    return next((float(match.group(1) or match.group(2)) for match in found), None)
