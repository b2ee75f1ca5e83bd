"""What can happen to a machine, and which groups of findings each event undoes: one table.

Not for doing anything about it: `undoing` withdraws, `history` looks for steps there.
"""

from __future__ import annotations

from dataclasses import dataclass

# Which part of what a trial finds: by trial, then by group of settings.
FINDINGS = {
    "feed": ("extruder", "rate"),
    "span": ("axes", "shear", "growth"),
    "traverse": ("axes", "reversal"),
    "bead": ("bead",),
    "fit": ("fit",),
}


@dataclass(frozen=True)
class Event:
    """One kind of event: what it is called, and what it undoes (a group of `FINDINGS`)."""

    words: str
    undoes: tuple[str, ...]


EVENTS = {
    "extruder": Event("the extruder was replaced or taken apart", ("extruder", "rate", "bead")),
    "nozzle": Event("the nozzle was replaced", ("rate", "bead", "growth", "fit")),
    "filament": Event("another filament was loaded", ("rate", "bead", "growth", "fit")),
    "belt": Event("a belt or pulley was replaced or tightened", ("axes", "shear", "reversal")),
    "hotend": Event("the hot end was replaced", ("rate", "bead")),
    "firmware": Event(
        "the controller's program was replaced",
        ("extruder", "rate", "axes", "shear", "reversal", "bead", "growth", "fit"),
    ),
    "height": Event("the machine was homed and its height set again", ()),
    "moved": Event("the machine was moved", ("shear",)),
    "other": Event("something else happened", ()),
}
