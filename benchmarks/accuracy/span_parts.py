"""Parts of the page on span pieces: coverage, errors over the bound, what each case hides.

From tables of results alone; charts as SVG.
"""

from __future__ import annotations

import numpy as np
from benchmarks.accuracy import aims
from benchmarks.accuracy.charts import Dot, dots
from benchmarks.accuracy.experiment import Table
from benchmarks.accuracy.markdown import size
from benchmarks.accuracy.markdown import table as as_table
from benchmarks.accuracy.spans import SpanCase, cases

KEYS = ("scale X", "scale Y", "scale Z", "shear XY", "growth", "growth X", "growth Y",
        "first layer", "zero outside", "zero inside", "motion X", "motion Z",
        "shrinkage")  # fmt: skip
BOUND_WORDS = (
    "The bound is the joint Cramér-Rao bound of the case (growth and zeros shared by all readings,"
    " type-B inputs as prior information, the scatter taken as known); ratio 1 is the best"
    " that an unbiased estimate can do; a cube comes below it, since even the solvers' very wide"
    " prior of scale tells something beside so poor readings."
    " `error/u` is the rms of error over stated standard uncertainty: above 1 where few"
    " readings know their scatter badly, which the t factor makes good in the interval.\n"
)


def charts(tables: aims.Tables) -> dict[str, str]:
    """SVG text by the end of its file's name."""
    return {"coverage": _coverage_chart(tables), "bound": _efficiency_chart(tables)}


def coverage_words(machines: int) -> str:
    """What the table of coverage shows."""
    u = (0.95 * 0.05 / machines) ** 0.5
    return (
        f"Share of machines whose truth lay inside the stated interval. Aim: 0.93 to 0.97; the"
        f" number of machines makes ± {u:.4f}. Cases marked ° may be wider (poor data), cases"
        f" marked ¹ are reported without an aim. Outside its aim by more than two standard"
        f" uncertainties: bold.\n"
    )


def coverage(tables: aims.Tables) -> str:
    """Coverage of every quantity, case by case."""
    rows = []
    for case in cases():
        table = tables[case.name]
        shown = [_covered(case, table, k) for k in KEYS]
        rows.append((_marked(case), *shown))
    return as_table(("case", *KEYS), rows)


def _marked(case: SpanCase) -> str:
    return case.name + (" °" if case.may_be_wide else "") + (" ¹" if case.reported_only else "")


def _covered(case: SpanCase, table: Table, key: str) -> str:
    share = table.share(f"hit {key}")
    if not share.of:
        return ""
    low, high = aims.COVERED
    least, most = share.value - 2 * share.u, share.value + 2 * share.u
    good = low <= most and (case.may_be_wide or least <= high)
    text = f"{share.value:.3f}"
    return text if good or case.reported_only else f"**{text}**"


def _coverage_chart(tables: aims.Tables) -> str:
    rows = []
    for case in cases():
        for key in ("scale X", "scale Z"):
            share = tables[case.name].share(f"hit {key}")
            if share.of:
                rows.append(Dot(f"{case.name}, {key[-1]}", share.value, 2 * share.u))
    ticks = (0.85, 0.90, 0.93, 0.95, 0.97, 1.0)
    return dots("Coverage of printed scale, X and Z", rows, aims.COVERED, ticks) + "\n"


def efficiency(tables: aims.Tables) -> str:
    """Errors over the bound, and over what was said."""
    rows = []
    for case in cases():
        table = tables[case.name]
        for keys in (("scale X", "scale Y"), ("scale Z",), ("shear XY",), ("growth",)):
            rms = table.rms(*(f"error {k}" for k in keys))
            if np.isnan(rms):
                continue
            ratio, u = aims.over_bound(case, table, keys)
            error = np.concatenate([table.get(f"error {k}") for k in keys])
            said = np.concatenate([table.get(f"u {k}") for k in keys])
            name = "scale X, Y" if len(keys) > 1 else keys[0]
            rows.append((case.name, name, size(rms, name), size(float(np.mean(said)), name),
                         f"{ratio:.3f} ± {u:.3f}",
                         f"{np.sqrt(np.mean((error / said) ** 2)):.2f}"))  # fmt: skip
    return as_table(("case", "quantity", "rms error", "mean u", "over the bound", "error/u"), rows)


def _efficiency_chart(tables: aims.Tables) -> str:
    rows = []
    for case in cases():
        ratio, u = aims.over_bound(case, tables[case.name], ("scale X", "scale Y"))
        rows.append(Dot(case.name, ratio, 2 * u))
    ticks = (0.9, 1.0, 1.05, 1.15, 1.5, 1.7)
    return dots("Printed scale X, Y: rms error over the bound", rows, (0.95, 1.05), ticks) + "\n"


def hidden() -> str:
    """What each case is made of."""
    rows = []
    for case in cases():
        s, h = case.shape, case.hidden
        faces = ", ".join(s.faces) if s.directions else ""
        heights = " ".join(f"{z:g}" for z in s.heights)
        rows.append((case.name, f"{s.span:g}", " ".join(s.directions), faces, heights, str(s.n),
                     str(s.pairs), f"{h.noise:g}", f"{h.face:g}", f"{h.z_times:g}",
                     f"{h.misreads:.0%}"))  # fmt: skip
    return as_table(("case", "span mm", "directions", "faces", "heights mm", "readings a face",
                   "faces alike", "noise mm", "face mm", "Z ×", "misreads"), rows)  # fmt: skip
