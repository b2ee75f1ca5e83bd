"""Readings in, estimates and verdicts out: instruments, solvers, prediction and proof.

Pure functions on frozen rows: no I/O, no clock, no chance. Import from here, not from the files.
"""

from asleft.measure.feed import solve_feed
from asleft.measure.instrument import Instrument, KnownLengthCheck
from asleft.measure.predict import PredictedPlace, SpanPrediction, predict_span
from asleft.measure.prove import Proof, prove_span
from asleft.measure.readings import FeedReading, SpanReading
from asleft.measure.result import BudgetLine, Proposal, Quantity, SetAside, Solution, Verdict
from asleft.measure.span import solve_span
from asleft.measure.table import parse_feed_table, parse_span_table
from asleft.measure.tolerance import Tolerance

__all__ = [
    "BudgetLine",
    "FeedReading",
    "Instrument",
    "KnownLengthCheck",
    "PredictedPlace",
    "Proof",
    "Proposal",
    "Quantity",
    "SetAside",
    "Solution",
    "SpanPrediction",
    "SpanReading",
    "Tolerance",
    "Verdict",
    "parse_feed_table",
    "parse_span_table",
    "predict_span",
    "prove_span",
    "solve_feed",
    "solve_span",
]
