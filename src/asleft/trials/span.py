"""The span trial: a printed gauge piece read with a caliper at its drawn places.

The piece is printed from the memory card with the settings in force, cools, and is read
place by place. Nothing is commanded over the line.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, ClassVar

from asleft.measure import (
    Solution,
    SpanReading,
    parse_span_table,
    possible_span_mm,
    solve_span,
)
from asleft.pieces import SpanPiece
from asleft.trials.basis import Basis
from asleft.trials.steps import ByHand, Read, Step
from asleft.trials.trial import AllSteps, Entry, data_rows

PRINTS = (
    "The machine prints hot and moves fast: stay within reach of its switch, keep hands out"
    " and air the room. Let the bed cool before you take the piece off."
)
LIGHTLY = "Close the jaws lightly and with equal force outside and inside: posts bend."


@dataclass(frozen=True)
class SpanTrial(AllSteps):
    """One span trial on one printed piece; `rounds` readings at every place.

    With `earlier` trials the piece is printed already and is read again, at the places along
    `directions` only; all readings count together.
    """

    kind: ClassVar[str] = "span"
    resumable: ClassVar[bool] = True
    needs_line: ClassVar[bool] = False

    piece: SpanPiece = field(default_factory=SpanPiece)
    rounds: int = 1
    cooling_minutes: float = 30.0
    earlier: tuple[int, ...] = ()
    directions: tuple[str, ...] = ()

    @property
    def parameters(self) -> dict[str, Any]:
        """JSON values from which the trial can be rebuilt."""
        return {
            "piece": self.piece.to_dict(),
            "rounds": self.rounds,
            "cooling_minutes": self.cooling_minutes,
            "earlier": list(self.earlier),
            "directions": list(self.directions),
        }

    @property
    def steps(self) -> tuple[Step, ...]:
        """Print, let cool, then one reading a place."""
        printing = ByHand(
            f"{self.kind}.print",
            "Print the piece from the memory card, unscaled, as the drawing advises.",
            (PRINTS,),
            action="print",
            details={"piece": "span", "parameters": self.piece.to_dict()},
        )
        cooling = ByHand(
            f"{self.kind}.cool",
            f"Let the piece cool off the bed for {self.cooling_minutes:g} minutes, and the caliper"
            " lie beside it.",
        )
        return self._readings() if self.earlier else (printing, cooling, *self._readings())

    def _readings(self) -> tuple[Read, ...]:
        wanted = self.directions
        places = [p for p in self.piece.places() if not wanted or p.direction in wanted]
        total = len(places) * self.rounds
        return tuple(
            Read(
                f"{self.kind}.{round_}.{place.label}",
                f"{_verb(place.faces)} {place.where}.",
                action="measure_place",
                details={
                    "direction": place.direction,
                    "faces": place.faces,
                    "nominal_mm": place.nominal_mm,
                    "place": place.label,
                    **_possible(place.nominal_mm),
                },
                place=place.label,
                count=((round_ - 1) * len(places) + number, total),
                cautions=(LIGHTLY,) if number == 1 else (),
            )
            for round_ in range(1, self.rounds + 1)
            for number, place in enumerate(places, start=1)
        )

    def entries(self, text: str, *, name: str) -> list[Entry]:
        """Readings already taken, from the text of a span readings file."""
        return [
            Entry(
                r.reading_mm,
                {
                    "direction": r.direction,
                    "faces": r.faces,
                    "nominal_mm": r.nominal_mm,
                    "place": r.place,
                },
                raw,
            )
            for r, raw in zip(parse_span_table(text, name=name), data_rows(text), strict=True)
        ]

    def solve(self, entries: Sequence[Entry], basis: Basis) -> Solution:
        """Printed scale, growth and shear, and what the controller should hold."""
        return solve_span(span_readings(entries), **span_settings(basis))


@dataclass(frozen=True)
class ProofTrial(SpanTrial):
    """The second piece: read like the first, judged against what was predicted."""

    kind: ClassVar[str] = "proof"


def span_readings(entries: Sequence[Entry]) -> list[SpanReading]:
    """Stored readings as the span solver takes them."""
    return [SpanReading(reading_mm=e.value, **_columns(e.about)) for e in entries]


def span_settings(basis: Basis) -> dict[str, Any]:
    """A basis as the keyword arguments of the span solver."""
    return {
        "instrument": basis.instrument,
        "in_force": basis.in_force,
        "skew": basis.skew,
        "tolerance": basis.tolerance,
        "shrinkage": basis.shrinkage,
        "shrinkage_u": basis.shrinkage_u,
        "shrinkage_to": basis.shrinkage_to,
        "drive": basis.drive,
        "geometry": basis.geometry,
        "arms": basis.arms,
    }


def _columns(about: Mapping[str, Any]) -> dict[str, Any]:
    return {key: about.get(key) for key in ("direction", "faces", "nominal_mm", "place")}


def _possible(nominal_mm: float) -> dict[str, float]:
    """Bounds of what is asked again at the prompt, as a readings file is refused beyond them."""
    low, high = possible_span_mm(nominal_mm)
    return {"low": low, "high": high}


def _verb(faces: str) -> str:
    return {
        "outside": "Outside jaws:",
        "inside": "Inside jaws:",
        "same": "Depth rod:",
    }[faces]
