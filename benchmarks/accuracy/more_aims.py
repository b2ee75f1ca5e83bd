"""The figures with an aim for slip, traverse, bead and fit.

As `aims`: judged by the value, the uncertainty printed beside it. Makes no page.
"""

from __future__ import annotations

from benchmarks.accuracy import fitting, others, slipping
from benchmarks.accuracy.aims import COVERED, Figure, Tables
from benchmarks.accuracy.experiment import Share


def slip(tables: Tables) -> list[Figure]:
    """False onsets without slip; brackets that hold with it, each number of feeds by itself."""
    found = []
    for case in slipping.cases():
        t = tables[case.name]
        if case.slips:
            # Scored where an onset is bracketed; open brackets can only err more seldom.
            share, aim = t.share("holds both"), "≥ 0.99"
            what = f"slip onset inside its bracket: {case.name}"
            met = share.value >= 0.99 if share.of else None
        else:
            share, aim = t.share("seen"), "≤ 1 in 1 000"
            what = f"false onset of slip: {case.name}"
            met = share.value <= 1e-3 if share.of else None
        found.append(Figure(what, _of(share), aim, met))
    return found


def trials(tables: Tables) -> list[Figure]:
    """Coverage of the other trials; fit may be wider, since steps of 0.05 mm tell little."""
    found = []
    for case in others.cases():
        t = tables[case.name]
        for key in (c.removeprefix("none ") for c in t.columns if c.startswith("none ")):
            share = t.share(f"hit {key}")
            wide = key == "clearance"
            met: bool | None = COVERED[0] <= share.value and (wide or share.value <= COVERED[1])
            aim = "≥ 0.93" if wide else "0.93 to 0.97"
            if others.mark(case):
                aim, met = "reported", None
            found.append(Figure(f"coverage of {key}: {case.name}", _of(share), aim, met))
    return found


def fits(tables: Tables) -> list[Figure]:
    """What a fit trial promised of the next part, each row by itself; more than that is no fault.

    A promise counts as held where it lies no more than two standard uncertainties above.
    """
    found = []
    for case in fitting.cases():
        t = tables[case.name]
        for word in ("same", "other"):
            share = t.share(f"hit {word}")
            what = {"same": "the same part", "other": "another"}[word]
            met = share.value >= 0.95 - 2 * share.u if share.of else None
            name = f"clearance inside its 95 % interval, {what}: {case.name}"
            found.append(Figure(name, _of(share), "≥ 0.95 less 2 u", met))
        turned, stated = t.share("turns"), t.get("p").mean() if t.get("p").size else 0.0
        met = turned.value >= stated - 2 * turned.u if turned.of else None
        name = f"the next part turns as stated: {case.name}"
        found.append(Figure(name, _of(turned), f"≥ {stated:.3f} less 2 u", met))
    return found


def _of(share: Share) -> str:
    if not share.of:
        return "there was none"
    return f"{share.value:.4f} ± {share.u:.4f} (of {share.of})"
