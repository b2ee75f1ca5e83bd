"""The bead trial: how wide a wall one bead thick came out, so how much plastic really flowed.

Widths drawn on one centre line part flow (slope) from the shape of the bead (offset); a mass on
a balance, with the density, tells flow alone; all go into one fit (`bead_fit`). Feed comes first: a
wrong extruder is not a wrong bead. Stands on `verdict`.
"""

from __future__ import annotations

from collections.abc import Sequence

from asleft.errors import InputError
from asleft.measure.bead.fit import BeadFit, Extrusion, fit_bead
from asleft.measure.instrument import Instrument
from asleft.measure.likes import off_their_like
from asleft.measure.readings import BeadReading
from asleft.measure.result import Proposal, Quantity, SetAside, Solution
from asleft.measure.tolerance import Tolerance
from asleft.measure.verdict import Evidence, Judgement, judge, proposal_of

PLAUSIBLE = 0.25  # flow further off than this is a clogged nozzle or another filament

STANDARD = Extrusion()


def solve_bead(
    readings: Sequence[BeadReading],
    *,
    instrument: Instrument,
    extrusion: Extrusion = STANDARD,
    in_force: float | None = None,
    axis: str = "E",
    tolerance: Tolerance = Tolerance(),  # noqa: B008 - frozen
) -> Solution:
    """Estimate flow and growth of a wall one bead thick.

    The model of a width read by a caliper: `y = φ·(w − h·(1−π/4)) + h·(1−π/4) + g + zero`, for a
    drawn width w at layer height h: the jaws ride on the bulges of the stadium.

    Args:
        readings: widths in mm; masses in g of the whole piece where it was weighed.
        instrument: the caliper. extrusion: layer height, and what a balance needs.
        in_force: flow ratio in the slicing profile, 1 for 100 %; None is unknown.

    Returns:
        Quantities `flow` (ratio, 1 is right) and `growth` (mm, both faces of one bead), and two
        proposals to the making.

    Raises:
        InputError: no readings, widths that no bead has, or masses without length and density.
    """
    _check(readings, extrusion, in_force)
    kept, aside, doubt = _sorted_out(readings)
    masses = [r.mass_g for r in readings if r.mass_g is not None]
    fit = fit_bead(kept, masses, instrument, extrusion)
    flow, growth = fit.quantity("flow", 0, axis), fit.quantity("growth", 1, None)
    judged = _judge_flow(fit, doubt, tolerance)
    return Solution(
        "bead",
        (flow, growth),
        (_flow_proposal(flow, judged, in_force, axis), _growth_proposal(fit, growth, tolerance)),
        fit.budget("flow", 0) + fit.budget("growth", 1),
        aside,
        tuple(_warnings(readings, extrusion)),
    )


def _check(readings: Sequence[BeadReading], extrusion: Extrusion, in_force: float | None) -> None:
    if not readings:
        raise InputError("there are no readings", hint="Measure the walls first.")
    for row, r in enumerate(readings, start=1):
        if not extrusion.layer_mm < r.drawn_width_mm < 20:
            raise InputError(
                f"a bead {r.drawn_width_mm:g} mm wide cannot be {extrusion.layer_mm:g} mm high",
                hint="Check the drawn width and --layer; a bead is wider than it is high.",
                where=f"row {row}",
            )
        if not 0 < r.reading_mm < 20:
            raise InputError(
                f"{r.reading_mm:g} mm is no width of a bead", hint="In mm.", where=f"row {row}"
            )
        if r.mass_g is not None and (
            extrusion.filament_mm is None or extrusion.density_g_cm3 is None
        ):
            raise InputError(
                "a mass tells flow only with the filament's length and density",
                hint="Give --filament and --density, or leave the masses out.",
                where=f"row {row}",
            )
    if in_force is not None and not 0 < in_force < 10:
        raise InputError(f"a flow of {in_force:g} is impossible", hint="100 % is 1.", where="flow")


def _sorted_out(
    readings: Sequence[BeadReading],
) -> tuple[list[BeadReading], tuple[SetAside, ...], str | None]:
    """Readings whose widths count, misreads, and a contradiction."""
    groups: dict[float, list[tuple[int, float]]] = {}
    for row, r in enumerate(readings, start=1):
        groups.setdefault(r.drawn_width_mm, []).append((row, r.reading_mm))
    aside, doubt = off_their_like(groups.values(), "width")
    gone = {a.row for a in aside}
    kept = [r for row, r in enumerate(readings, start=1) if row not in gone]
    return kept, aside, doubt


def _judge_flow(fit: BeadFit, doubt: str | None, tolerance: Tolerance) -> Judgement:
    largest = fit.budget("flow", 0)[0].input
    weighed = fit.names[3] != ""
    return judge(
        Evidence(
            error=float(fit.linear.values[0]) - 1,
            u=fit.u(0),
            dof=fit.dof(0),
            tolerance=tolerance.bead,
            u_readings=min(fit.by_scatter(0), fit.u(0)),
            readings=fit.widths,
            largest=f"the {largest}",
            remedy="weigh the piece" if not weighed else "find the density of this spool",
            plausible=PLAUSIBLE,
            trouble=doubt or _trouble(fit),
        )
    )


def _trouble(fit: BeadFit) -> str | None:
    """Ways to the flow that contradict each other: an input far outside what it should be."""
    for j, name in enumerate(fit.names):
        off = float(fit.linear.values[j] - fit.prior_mean[j])
        if name and abs(off) > 3 * fit.prior_sd[j]:
            return f"the readings contradict each other: {name} would be more than 3 u off"
    return None


def _flow_proposal(
    flow: Quantity, judged: Judgement, in_force: float | None, axis: str
) -> Proposal:
    assert flow.value is not None and flow.u is not None  # noqa: S101 - from the fit
    proposed = None if in_force is None else in_force / flow.value
    reason = judged.reason
    if in_force is None:
        reason += "; flow in the slicing profile is unknown, so no value is proposed"
    if proposed is not None and in_force is not None and judged.verdict == "adjust":
        reason += f"; set the flow of {100 * in_force:.1f} % to {100 * proposed:.1f} %"
    return proposal_of(
        judged,
        setting="flow",
        axis=axis,
        place="making",
        in_force=in_force,
        proposed=proposed,
        u=None if proposed is None else proposed * flow.u / flow.value,
        reason=reason,
    )


def _growth_proposal(fit: BeadFit, growth: Quantity, tolerance: Tolerance) -> Proposal:
    assert growth.value is not None and growth.u is not None  # noqa: S101 - from the fit
    judged = judge(
        Evidence(
            error=growth.value,
            u=growth.u,
            dof=fit.dof(1),
            tolerance=tolerance.growth,
            u_readings=min(fit.by_scatter(1), growth.u),
            readings=fit.widths,
            largest=f"the {fit.budget('growth', 1)[0].input}",
            remedy="look at the zero of the closed jaws, and weigh the piece",
            unit="mm",
        )
    )
    reason = f"{judged.reason}; of a wall one bead thick, both faces"
    return Proposal(
        "growth", "XY", "making", None, growth.value, growth.u, judged.verdict,
        judged.provisional, judged.p_now, judged.p_after, reason,
    )  # fmt: skip


def _warnings(readings: Sequence[BeadReading], extrusion: Extrusion) -> list[str]:
    said = []
    if len({r.drawn_width_mm for r in readings}) < 2:
        said.append("one drawn width cannot part flow from the shape of the bead; draw three")
    if extrusion.density_g_cm3 is not None and all(r.mass_g is None for r in readings):
        said.append("a density was given but no mass: the balance says nothing here")
    return said
