"""Readings in, estimates and verdicts out: instruments, solvers, plans, prediction and proof.

Pure functions on frozen rows: no I/O, no clock, no chance. Import from here, not from the files.
"""

from asleft.measure.allowance import Allowance, Making, Tried, allow
from asleft.measure.bead.fit import Extrusion
from asleft.measure.bead.solve import solve_bead
from asleft.measure.feed.slip import SlipBracket, slip_bracket
from asleft.measure.feed.solve import PLAUSIBLE as PLAUSIBLE_FEED
from asleft.measure.feed.solve import solve_feed
from asleft.measure.fit.solve import solve_fit, solve_fits
from asleft.measure.grades import grade_for, grade_width_mm
from asleft.measure.instrument import Instrument, KnownLengthCheck
from asleft.measure.plan import (
    Expected,
    Plan,
    cheapest,
    feed_cost,
    plan_feed,
    plan_span,
    plan_traverse,
    reading_minutes,
)
from asleft.measure.readings import (
    BeadReading,
    FeedReading,
    FitReading,
    SpanReading,
    TraverseReading,
    possible_span_mm,
)
from asleft.measure.result import BudgetLine, Proposal, Quantity, SetAside, Solution, Verdict
from asleft.measure.span.deciding import PLAUSIBLE_SCALE
from asleft.measure.span.drives import DriveChange
from asleft.measure.span.predict import PredictedPlace, SpanPrediction, predict_span
from asleft.measure.span.proposals import PLAUSIBLE_SHEAR
from asleft.measure.span.prove import Proof, prove_span
from asleft.measure.span.residuals import span_residuals
from asleft.measure.span.solve import solve_span
from asleft.measure.table import (
    parse_bead_table,
    parse_feed_table,
    parse_fit_table,
    parse_span_table,
    parse_traverse_table,
)
from asleft.measure.tolerance import Tolerance
from asleft.measure.traverse.solve import motion_as_read, solve_traverse
from asleft.measure.years.ahead import Forecast, forecast
from asleft.measure.years.control import ControlChart, ewma_chart, individuals_chart
from asleft.measure.years.drift import Finding, Series, Step, judge_series
from asleft.measure.years.shared import Common, judge_instrument

__all__ = [
    "PLAUSIBLE_FEED",
    "PLAUSIBLE_SCALE",
    "PLAUSIBLE_SHEAR",
    "Allowance",
    "BeadReading",
    "BudgetLine",
    "Common",
    "ControlChart",
    "DriveChange",
    "Expected",
    "Extrusion",
    "FeedReading",
    "Finding",
    "FitReading",
    "Forecast",
    "Instrument",
    "KnownLengthCheck",
    "Making",
    "Plan",
    "PredictedPlace",
    "Proof",
    "Proposal",
    "Quantity",
    "Series",
    "SetAside",
    "SlipBracket",
    "Solution",
    "SpanPrediction",
    "SpanReading",
    "Step",
    "Tolerance",
    "TraverseReading",
    "Tried",
    "Verdict",
    "allow",
    "cheapest",
    "ewma_chart",
    "feed_cost",
    "forecast",
    "grade_for",
    "grade_width_mm",
    "individuals_chart",
    "judge_instrument",
    "judge_series",
    "motion_as_read",
    "parse_bead_table",
    "parse_feed_table",
    "parse_fit_table",
    "parse_span_table",
    "parse_traverse_table",
    "plan_feed",
    "plan_span",
    "plan_traverse",
    "possible_span_mm",
    "predict_span",
    "prove_span",
    "reading_minutes",
    "slip_bracket",
    "solve_bead",
    "solve_feed",
    "solve_fit",
    "solve_fits",
    "solve_span",
    "solve_traverse",
    "span_residuals",
]
