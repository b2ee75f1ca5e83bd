"""The bead trial: a printed ring one bead thick, read across its wall in bands of drawn width.

The piece is printed from the memory card, cools, and is read with the caliper; where there is a
balance it is weighed. Nothing is commanded over the line. Feed comes first; the bench sees to it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any, ClassVar

from asleft.errors import InputError
from asleft.measure import BeadReading, Extrusion, Solution, parse_bead_table, solve_bead
from asleft.pieces import BeadPiece, spacing_mm
from asleft.trials.basis import Basis
from asleft.trials.span import PRINTS
from asleft.trials.steps import ByHand, Choose, Read, Step
from asleft.trials.trial import AllSteps, Entry, data_rows

LIGHTLY = "Close the jaws lightly and let go of the thumb roller: a wall this thin gives way."
WEIGH = "weigh"
_BALANCE = "bead.balance"


@dataclass(frozen=True)
class BeadTrial(AllSteps):
    """One bead trial on one printed ring; `rounds` readings at every place.

    `flow` is that of whatever wrote the file, 1 for 100 % (our own files have 1; None is
    unknown). With a density the person is asked for the ring's mass, and may pass over it.
    `filament_diameter_mm` is what the file takes the filament for, `measured_diameter_mm` what
    it is.
    """

    kind: ClassVar[str] = "bead"
    resumable: ClassVar[bool] = True
    needs_line: ClassVar[bool] = False
    leans_on: ClassVar[tuple[str, ...]] = ("feed",)
    earlier: ClassVar[tuple[int, ...]] = ()

    piece: BeadPiece = field(default_factory=BeadPiece)
    rounds: int = 1
    cooling_minutes: float = 10.0
    flow: float | None = 1.0
    filament_diameter_mm: float = 1.75
    density_g_cm3: float | None = None
    density_u_g_cm3: float = 0.02
    balance_u_g: float = 0.01
    measured_diameter_mm: float | None = None
    diameter_u_mm: float = 0.01

    def __post_init__(self) -> None:
        """Refuse numbers with which nothing can be measured, before anything is printed."""
        if self.rounds < 1:
            raise InputError("no rounds, no reading", hint="One is good.", where="--rounds")
        self._extrusion(None)

    @property
    def parameters(self) -> dict[str, Any]:
        """JSON values from which the trial can be rebuilt."""
        return {**asdict(self), "piece": self.piece.to_dict()}

    @property
    def steps(self) -> tuple[Step, ...]:
        """Print, let cool, weigh where asked for, then one reading a place."""
        widths = ", ".join(f"{width:g}" for width in self.piece.widths_mm)
        printing = ByHand(
            "bead.print",
            f"Print the bead piece ({widths} mm wide, layers of {self.piece.layer_mm:g} mm) from"
            " the memory card, unscaled; `asleft piece bead` writes its file.",
            (PRINTS,),
            action="print",
            details={"piece": "bead", "parameters": self.piece.to_dict()},
        )
        cooling = ByHand(
            "bead.cool",
            f"Let the ring cool off the bed for {self.cooling_minutes:g} minutes.",
        )
        return (printing, cooling, *self._weighing(), *self._readings())

    def _weighing(self) -> tuple[Step, ...]:
        if self.density_g_cm3 is None:
            return ()
        ask = Choose(
            _BALANCE,
            "Is there a balance at hand for the ring?",
            choices=((WEIGH, "there is; it will be weighed"), ("skip", "go on without its mass")),
        )
        mass = Read(
            "bead.mass",
            "Weigh the ring alone, without any line beside it.",
            action="weigh",
            details={"weighed": True},
            unit="g",
        )
        return ask, mass

    def spared(self, answers: Mapping[str, str]) -> frozenset[str]:
        """The mass, unless there is a balance."""
        return frozenset() if answers.get(_BALANCE) == WEIGH else frozenset({"bead.mass"})

    def _readings(self) -> tuple[Read, ...]:
        places = self.piece.places()
        total = len(places) * self.rounds
        return tuple(
            Read(
                f"bead.{round_}.{place.label}",
                f"Outside jaws across the wall: {place.where}.",
                action="measure_bead",
                details={
                    "drawn_width_mm": place.nominal_mm,
                    "band": str(1 + self.piece.widths_mm.index(place.nominal_mm)),
                    "place": place.label,
                    "high": 20.0,
                },
                place=place.label,
                count=((round_ - 1) * len(places) + number, total),
                cautions=(LIGHTLY,) if number == 1 else (),
            )
            for round_ in range(1, self.rounds + 1)
            for number, place in enumerate(places, start=1)
        )

    def entries(self, text: str, *, name: str) -> list[Entry]:
        """Readings already taken, from the text of a bead readings file."""
        rows = parse_bead_table(text, name=name)
        if self.density_g_cm3 is None and any(r.mass_g is not None for r in rows):
            raise InputError(
                "a mass tells flow only with the plastic's density",
                hint="Give --density, or leave the column mass_g out.",
                where=name,
            )
        return [
            Entry(r.reading_mm, {k: v for k, v in _about(r).items() if v is not None}, raw)
            for r, raw in zip(rows, data_rows(text), strict=True)
        ]

    def solve(self, entries: Sequence[Entry], basis: Basis) -> Solution:
        """Flow and growth of a wall one bead thick, and what the making should have."""
        readings = [
            BeadReading(e.about["drawn_width_mm"], e.value, e.about.get("mass_g"))
            for e in entries
            if not e.about.get("weighed")
        ]
        masses = [e.value for e in entries if e.about.get("weighed")]
        if masses and readings:
            readings[0] = replace(readings[0], mass_g=masses[-1])
        found = solve_bead(
            readings,
            instrument=basis.instrument,
            extrusion=self._extrusion(basis.feed_u),
            in_force=self.flow,
            tolerance=basis.tolerance,
        )
        return replace(found, warnings=(*basis.warnings, *found.warnings))

    def _extrusion(self, feed_u: float | None) -> Extrusion:
        """How the ring was extruded; how well feed is known, where a feed trial found it."""
        known = {} if feed_u is None else {"feed_u": feed_u}
        names = Extrusion.__dataclass_fields__.keys() & vars(self).keys()
        return Extrusion(
            layer_mm=self.piece.layer_mm,
            filament_mm=self._filament_mm(),
            **{name: getattr(self, name) for name in names},
            **known,
        )

    def _filament_mm(self) -> float:
        """What the path feeds for the ring: bead section times the length of the centre line."""
        piece, layer = self.piece, self.piece.layer_mm
        length = 8 * (math.sqrt(2) - 1) * piece.flats_mm * round(piece.band_mm / layer)
        volume = sum(spacing_mm(width, layer) * layer * length for width in piece.widths_mm)
        return volume / (math.pi / 4 * self.filament_diameter_mm**2)


def _about(reading: BeadReading) -> dict[str, float | None]:
    """The columns beside the number, as the store keeps them."""
    return {"drawn_width_mm": reading.drawn_width_mm, "mass_g": reading.mass_g}
