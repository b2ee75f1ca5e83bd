"""The digests of a record: one of its readings, one of everything in it.

They show that a record is as it was written; they are no signature. Whoever has the JSON can make
them anew from it alone, in any language.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from typing import Any

OF_READING = ("key", "take", "place", "value", "raw", "unit", "at", "taken_back")


def digest(trials: Iterable[Mapping[str, Any]]) -> str:
    """SHA-256 over every reading of a record, whoever wants to check that none was altered.

    The text hashed is JSON, keys sorted, no blanks: a list of [trial, key, take, place, value,
    raw, unit, at, taken back and why].
    """
    return _sha256(
        [
            [trial["id"], *(reading[name] for name in OF_READING)]
            for trial in trials
            for reading in trial["readings"]
        ]
    )


def digest_of_all(document: Mapping[str, Any]) -> str:
    """SHA-256 over a whole record but this digest itself: JSON, keys sorted, no blanks, UTF-8."""
    return _sha256({name: value for name, value in document.items() if name != "record_sha256"})


def _sha256(value: Any) -> str:
    text = json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()
