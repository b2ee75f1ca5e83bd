"""The names of the kinds of practice machine, for faces that only list them.

Apart from `kinds` so that a list of names imports nothing heavy. Not for what a kind is.
"""

from __future__ import annotations

KINDS = (
    "cartesian",
    "crossed-belt",
    "delta",
    "report-bare",
    "report-per-tool",
    "report-colon-list",
    "report-m92-only",
    "report-inches",
    "report-config-file",
    "no-storage",
)
