"""Inputs that once reached something new in a parser, or broke it, keep their promises."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from .targets import TARGETS

SEEDS = Path(__file__).parent / "seeds"
REPORTS = Path(__file__).parent.parent / "controller" / "reports"


@pytest.mark.parametrize("name", TARGETS)
def test_every_seed(name: str) -> None:
    target: Callable[[bytes], None] = TARGETS[name]
    seeds = sorted((SEEDS / name).iterdir()) if (SEEDS / name).is_dir() else []
    seeds += sorted(REPORTS.iterdir()) if name == "reports" else []
    assert seeds
    for seed in seeds:
        target(seed.read_bytes())


@pytest.mark.parametrize(
    ("name", "data"),
    [
        # A command with bytes spoiled on the way is no line to send back.
        ("reports", b"M92 X100.000 Y100.000\x88\x00\x00 E139.700\nM204 P\xff\xff\n"),
        # Digits of other scripts are no digits on the wire.
        ("reports", "M92 X٣ Y80 Z400 E93\n".encode()),
        # An E among the arms of a delta is no extruder.
        ("reports", b"M92 X80 Y80 Z80 E93\nM665 L215.3 R105 E00\n"),
    ],
)
def test_what_was_mended(name: str, data: bytes) -> None:
    TARGETS[name](data)
