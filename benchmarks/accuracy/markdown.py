"""Tables and sizes as Markdown text: the small change of the page's parts.

Knows nothing of what is measured.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table in Markdown."""
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    return "\n".join([*lines, *("| " + " | ".join(row) + " |" for row in rows)]) + "\n"


def size(value: float, name: str) -> str:
    """A relative error in %, shear in mrad, growth in mm."""
    if name.startswith("shear"):
        return f"{value * 1e3:.3f} mrad"
    return f"{value:.4f} mm" if name == "growth" else f"{value * 100:.4f} %"
