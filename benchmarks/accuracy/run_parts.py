"""Parts of the page that come from whole runs: evenings on the practice machine, wrong formulas.

Where a run was not asked for, the part says how to ask and gives no figure.
"""

from __future__ import annotations

from benchmarks.accuracy.evenings import Evening, Miss
from benchmarks.accuracy.markdown import table as as_table
from benchmarks.accuracy.mutated import Mutated
from benchmarks.practice import limits

NIGHT_WORDS = (
    "`asleft practice --unattended`, seeds 1 to {n}, one after the other: every one finds, changes,"
    " stores, powers off and on, and proves by a second piece. Within means X, Y, Z within 0.1 %,"
    " E within 1 %, shear within 1 mrad of the hidden truth.\n"
)
MUTATION_WORDS = (
    "`tools/mutations.py` plants one wrong formula at a time in a copy of the package and runs the"
    " tests of the estimates on it.\n"
)


def nights(evenings: list[Evening]) -> str:
    """Every miss with the verdict that left it, and all that did not come to its end."""
    if not evenings:
        return "Not run for this page; `--evenings 40` runs them.\n"
    rows = [_missed(m) for e in evenings for m in e.misses]
    missed = as_table(("seed", "what", "hidden", "left", "last verdict on it"), rows)
    parts = [NIGHT_WORDS.format(n=len(evenings)), missed if rows else "Nothing came out beyond.\n"]
    ended = [(str(e.seed), *_ends(e), e.failed.replace("|", "/")) for e in evenings
             if not all(e.ends)]  # fmt: skip
    if ended:
        head = ("seed", "stored", "survived", "proved", "what it said")
        parts += ["Evenings that did not come to their end:\n", as_table(head, ended)]
    return "\n".join(parts)


def _missed(m: Miss) -> tuple[str, ...]:
    shear = m.what == "shear_xy"

    def size(value: float) -> str:
        return f"{value * 1e3:+.2f} mrad" if shear else f"{value * 100:+.3f} %"

    limit = limits()[m.what]
    left = f"{size(m.left)} (limit {size(limit).removeprefix('+')})"
    return str(m.seed), m.what, size(m.hidden), left, m.verdict.replace("|", "/")


def _ends(e: Evening) -> tuple[str, ...]:
    return tuple("yes" if reached else "no" for reached in e.ends)


def mutations(found: Mutated | None) -> str:
    """Every wrong formula and whether a test failed."""
    if found is None:
        return MUTATION_WORDS + "\nNot run for this page; `--mutations` runs it, some minutes.\n"
    rows = [(what, file, "yes" if caught else "**no**") for what, file, caught in found.each]
    return MUTATION_WORDS + "\n" + as_table(("wrong formula", "file", "caught"), rows)
