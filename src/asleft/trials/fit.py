"""The fit trial: printed bores or pins in small steps, tried with the person's own part.

Which of them it refuses, in which it turns, in which it is loose: interval data. The tries start
in the middle and close in on both borders, so that few are needed. Nothing is commanded.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, ClassVar

from asleft.errors import InputError
from asleft.measure import FitReading, Instrument, Solution, parse_fit_table, solve_fits
from asleft.pieces import FitPiece, Place
from asleft.trials.basis import Basis
from asleft.trials.span import PRINTS
from asleft.trials.steps import ByHand, Choose, Step
from asleft.trials.trial import AllSteps, Entry, data_rows

OUTCOMES = (
    ("refuses", "it will not go in by hand"),
    ("turns", "it goes in and turns, without play that can be felt"),
    ("loose", "it rattles"),
)
GENTLY = "By hand only: a part forced into a bore stays there, and thin collars split."
HAND_MM = 0.01  # one reading of a smooth part by hand, standard deviation; a guess, ours
MARGIN = 1  # bodies beyond a border that are tried all the same
_KINDS = {"inside": "bore", "outside": "pin"}


@dataclass(frozen=True)
class FitTrial(AllSteps):
    """One fit trial around one real part, sizes in mm.

    The piece's gauge is the part as the person measured it; `gauge_u_mm` how well, where that is
    known better or worse than the caliper says.
    """

    kind: ClassVar[str] = "fit"
    resumable: ClassVar[bool] = True
    needs_line: ClassVar[bool] = False
    earlier: ClassVar[tuple[int, ...]] = ()

    piece: FitPiece | None = None
    cooling_minutes: float = 30.0
    gauge_u_mm: float | None = None

    @property
    def parameters(self) -> dict[str, Any]:
        """JSON values from which the trial can be rebuilt."""
        return {**asdict(self), "piece": self.piece.to_dict() if self.piece else None}

    @property
    def steps(self) -> tuple[Step, ...]:
        """Print, let cool, then the tries, first those that part the others."""
        piece = self._piece()
        printing = ByHand(
            "fit.print",
            f"Print the fit piece ({piece.parts}) from the memory card, unscaled; `asleft piece fit"
            f" --gauge {piece.gauge_mm:g} --parts {piece.parts}` writes its file.",
            (PRINTS,),
            action="print",
            details={"piece": "fit", "parameters": piece.to_dict()},
        )
        cooling = ByHand(
            "fit.cool",
            f"Let the bodies cool off the bed for {self.cooling_minutes:g} minutes, and wipe off"
            " threads and burrs.",
        )
        places = [place for some in self._by_kind() for place in halving(some)]
        return (printing, cooling, *(self._try(p, warned=p is not places[0]) for p in places))

    def _piece(self) -> FitPiece:
        if self.piece is None:
            raise InputError(
                "the size of your own shaft or bearing is not given",
                hint="Measure it with the caliper and give it with --gauge.",
                where="--gauge",
            )
        return self.piece

    def _by_kind(self) -> list[list[Place]]:
        """Bores, then pins, each tightest first."""
        places = self._piece().places()
        kinds = [[p for p in places if p.faces == faces] for faces in _KINDS]
        return [some for some in kinds if some]

    def _try(self, place: Place, *, warned: bool) -> Choose:
        kind, gauge = _KINDS[place.faces], self._piece().gauge_mm
        where = f"bore {place.label}" if kind == "bore" else f"on pin {place.label}"
        return Choose(
            f"fit.{place.label}",
            f"Try your {gauge:g} mm {'shaft in' if kind == 'bore' else 'bearing'} {where}, drawn"
            f" {place.nominal_mm:.2f} mm.",
            choices=OUTCOMES,
            action="try_fit",
            details={
                "drawn_mm": place.nominal_mm,
                "kind": kind,
                "gauge_mm": gauge,
                "label": place.label,
            },
            place=place.label,
            cautions=() if warned else (GENTLY,),
            value=place.nominal_mm,
        )

    def spared(self, answers: Mapping[str, str]) -> frozenset[str]:
        """Tries whose outcome follows from others: looser than loose, tighter than refused."""
        if self.piece is None:
            return frozenset()
        found: set[str] = set()
        for some in self._by_kind():
            keys = [f"fit.{place.label}" for place in some]
            found |= {keys[n] for n in _sure([answers.get(key) for key in keys])}
        return frozenset(found)

    def entries(self, text: str, *, name: str) -> list[Entry]:
        """Tries already made, from the text of a fit readings file."""
        return [
            Entry(r.drawn_mm, {"gauge_mm": r.gauge_mm, "outcome": r.outcome}, raw)
            for r, raw in zip(parse_fit_table(text, name=name), data_rows(text), strict=True)
        ]

    def solve(self, entries: Sequence[Entry], basis: Basis) -> Solution:
        """The clearance at which it begins to turn, and what to draw so that it does."""
        kinds: dict[str | None, list[FitReading]] = {}
        for each in entries:
            kind, gauge = each.about.get("kind"), each.about["gauge_mm"]
            kinds.setdefault(kind, []).append(FitReading(each.value, gauge, each.about["outcome"]))
        return solve_fits(kinds, gauge_u_mm=self.gauge_u_mm or self._u_by(basis.instrument))

    def _u_by(self, instrument: Instrument) -> float:
        """How well one reading with this instrument knows the part, in mm."""
        size = self.piece.gauge_mm if self.piece else 0.0
        parts = (instrument.outside_zero_sd_mm, instrument.scale_sd * size)
        return math.hypot(*parts, instrument.rounding_sd_mm, HAND_MM)


def halving(places: Sequence[Place]) -> list[Place]:
    """The middle one, then the middles of both halves, and so on."""
    order, spans = [], [(0, len(places))]
    for low, high in spans:  # grows as it goes
        if low < high:
            middle = (low + high) // 2
            order.append(places[middle])
            spans += [(low, middle), (middle + 1, high)]
    return order


def _sure(outcomes: Sequence[str | None]) -> Iterable[int]:
    """Which of the untried, tightest first, have an outcome that the others give away.

    Bores differ a little from one to the next, so both neighbours of a border are tried.
    """
    for n, outcome in enumerate(outcomes):
        between = "turns" in outcomes[:n] and "turns" in outcomes[n + 1 :]
        easier = "loose" in outcomes[: max(0, n - MARGIN)]
        tighter = "refuses" in outcomes[n + 1 + MARGIN :]
        if outcome is None and (between or easier or tighter):
            yield n
