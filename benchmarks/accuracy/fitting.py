"""Clearance wanted against got: a fit trial on a simulated workshop, then one more part printed.

Ovality, play that is felt, the shaft's own error and the scatter between bores are of this file's
making; nothing is shared with the solver. `python -m benchmarks.accuracy.fitting` prints the table.
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from benchmarks.accuracy.experiment import Chunk, Numbers, Table
from benchmarks.accuracy.markdown import table as as_table

from asleft.measure import Instrument, Making, allow
from asleft.pieces import FitPiece
from asleft.trials import Basis, Entry, FitTrial
from asleft.trials.steps import Choose

MPE_MM, RESOLUTION_MM, HAND_MM = 0.03, 0.01, 0.01
# From machine to machine, even between these; guesses, ours. Unknown: anything between.
SMOOTH_MM, ROUGH_MM, UNKNOWN_MM = (0.004, 0.025), (0.015, 0.035), (0.004, 0.045)


@dataclass(frozen=True)
class Workshop:
    """One machine, its making, one shaft and one caliper, all hidden. mm.

    A bore comes out smaller by `less`, differs from the next by `scatter` and is oval by `oval`:
    its narrow way stops the shaft, its mean way lets it rattle from `play` on.
    """

    less: float
    scatter: float
    oval: float
    play: float
    feel: float
    shaft: float
    zero: float

    @classmethod
    def draw(
        cls, rng: np.random.Generator, size_mm: float, scatter_mm: tuple[float, float]
    ) -> Workshop:
        """A workshop as they come; all spreads are guesses, ours."""
        return cls(
            less=float(rng.uniform(0.03, 0.28)),
            scatter=float(rng.uniform(*scatter_mm)),
            oval=float(abs(rng.normal(0, 0.015))),
            play=float(rng.uniform(0.05, 0.15)),
            feel=float(rng.uniform(0.0, 0.01)),
            shaft=size_mm + float(rng.normal(0, 0.02)),
            zero=float(rng.uniform(-MPE_MM, MPE_MM)),
        )

    def bore(self, drawn_mm: float, rng: np.random.Generator) -> tuple[float, float]:
        """Narrow and mean diameter of one printed bore."""
        mean = drawn_mm - self.less + float(rng.normal(0, self.scatter))
        oval = self.oval + abs(float(rng.normal(0, 0.004)))
        return mean - oval, mean

    def tried(self, bore: tuple[float, float], shaft_mm: float, rng: np.random.Generator) -> str:
        """What the hand says of a shaft in a bore."""
        narrow, mean = (way + float(rng.normal(0, self.feel)) for way in bore)
        if narrow < shaft_mm:
            return "refuses"
        return "loose" if mean > shaft_mm + self.oval + self.play else "turns"

    def gauge_mm(self, rng: np.random.Generator) -> float:
        """The shaft as the caliper shows it."""
        seen = self.shaft + self.zero + float(rng.normal(0, HAND_MM))
        return round(seen / RESOLUTION_MM) * RESOLUTION_MM


@dataclass(frozen=True)
class Wanted:
    """A shaft tried in the order of the trial, then one bore drawn for a wanted clearance."""

    name: str
    size_mm: float = 8.0
    every_bore: bool = False
    scatter_mm: tuple[float, float] = SMOOTH_MM
    pieces: int = 1
    times: float = 0.5

    def one(self, rng: np.random.Generator) -> Numbers:
        """Whether what was promised came true, for the same part and for another one."""
        shop = Workshop.draw(rng, self.size_mm, self.scatter_mm)
        gauge = shop.gauge_mm(rng)
        entries = self._tries(shop, gauge, rng)
        trial = FitTrial(FitPiece(gauge_mm=gauge, parts="bores"))
        result = trial.solve(entries, Basis(Instrument(mpe_mm=MPE_MM), {})).to_dict()
        numbers = {"tries": float(len(entries))}
        (proposal,) = result["proposals"]
        numbers["undecided"] = float(proposal["verdict"] not in ("adjust", "leave"))
        if proposal["proposed"] is not None:
            outcome = shop.tried(shop.bore(gauge + proposal["proposed"], rng), shop.shaft, rng)
            numbers |= {"turns": float(outcome == "turns"), "p": proposal["p_after"]}
            numbers["enters"] = float(outcome != "refuses")
        making = Making.from_results([result])
        if making.holes is None:
            return numbers
        gap = float(rng.uniform(0.0, 0.2))
        other = self.size_mm + float(rng.uniform(-1.5, 1.5))
        for name, asked, shaft in (("same", gauge, shop.shaft), ("other", other, other)):
            found = allow("hole", asked, making=making, clearance_mm=gap)
            got = shop.bore(found.draw_mm, rng)[0] - shaft
            assert found.clearance_low95_mm is not None and found.clearance_high95_mm is not None
            numbers |= {
                f"off {name}": got - gap,
                f"u {name}": found.u_mm,
                f"hit {name}": float(found.clearance_low95_mm <= got <= found.clearance_high95_mm),
            }
        return numbers

    def _tries(self, shop: Workshop, gauge: float, rng: np.random.Generator) -> list[Entry]:
        """The tries of each piece as the trial asks for them, or every bore once."""
        trial = FitTrial(FitPiece(gauge_mm=gauge, parts="bores"))
        entries = []
        for _ in range(self.pieces):
            answers: dict[str, str] = {}
            for step in trial.steps:
                skip = not self.every_bore and step.key in trial.spared(answers)
                if not isinstance(step, Choose) or step.value is None or skip:
                    continue
                outcome = shop.tried(shop.bore(step.value, rng), shop.shaft, rng)
                answers[step.key] = outcome
                entries.append(Entry(step.value, {**step.details, "outcome": outcome}, outcome))
        return entries


def cases() -> tuple[Wanted, ...]:
    """All cases of the table."""
    return (
        Wanted("8 mm shaft, smooth bores"),
        Wanted("8 mm shaft, smooth bores, every one tried", every_bore=True),
        Wanted("8 mm shaft, smooth bores, two pieces", pieces=2),
        Wanted("8 mm shaft, rough bores", scatter_mm=ROUGH_MM),
        Wanted("8 mm shaft, rough bores, every one tried", every_bore=True, scatter_mm=ROUGH_MM),
        Wanted("8 mm shaft, rough bores, two pieces", pieces=2, scatter_mm=ROUGH_MM),
        Wanted("8 mm shaft, any bores", scatter_mm=UNKNOWN_MM),
        Wanted("4 mm shaft, any bores", size_mm=4.0, scatter_mm=UNKNOWN_MM),
        Wanted("22 mm shaft, any bores", size_mm=22.0, scatter_mm=UNKNOWN_MM),
    )


def lines(tables: Mapping[str, Table]) -> str:
    """Promise and outcome, case by case."""
    rows = []
    for case in cases():
        t = tables[case.name]
        turns, p, refused = t.share("turns"), t.get("p"), t.share("enters")
        row = [case.name, str(t.machines), f"{t.get('tries').mean():.1f}",
               f"{t.share('undecided').value:.3f}",
               f"{p.mean():.3f}", f"{turns.value:.3f} ± {turns.u:.3f}",
               f"{refused.value:.3f} ± {refused.u:.3f}"]  # fmt: skip
        for name in ("same", "other"):
            share = t.share(f"hit {name}")
            row.append(f"{t.rms(f'off {name}'):.4f} mm ({t.get(f'u {name}').mean():.4f})")
            row.append(f"{share.value:.3f} ± {share.u:.3f}")
        rows.append(tuple(row))
    head = ("case", "machines", "tries", "asks for more", "stated to turn", "turned", "went in",
            "same part: rms off (stated u)", "within 95 %", "another: rms off (stated u)",
            "within 95 %")  # fmt: skip
    return as_table(head, rows)


def main() -> None:
    """Run all cases and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--machines", type=int, default=1000)
    asked = parser.parse_args()
    tables = {
        case.name: Table.of(Chunk(case, asked.seed, 0, asked.machines).run()[2]) for case in cases()
    }
    print(lines(tables))


if __name__ == "__main__":
    main()
