"""Boards for the tests of the line, each ended with its test."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

_spec = importlib.util.spec_from_file_location(
    "asleft_test_board", Path(__file__).with_name("board.py")
)
assert _spec is not None and _spec.loader is not None
_module = importlib.util.module_from_spec(_spec)
sys.modules["asleft_test_board"] = _module
_spec.loader.exec_module(_module)


@pytest.fixture
def make_board() -> Iterator[Callable[..., Any]]:
    boards: list[Any] = []

    def make(**options: Any) -> Any:
        boards.append(_module.Board(**options))
        return boards[-1]

    yield make
    for board in boards:
        board.end()
