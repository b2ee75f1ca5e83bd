"""What is kept and what is handed over: the store and the printed record.

`Store` keeps everything that was seen, measured or changed; `assemble` makes one calibration's
record of it; `write_record` writes that as PDF, JSON or CSV. Judges nothing and moves nothing.
"""

from asleft.record.charts_history import history_chart
from asleft.record.document import assemble, gather
from asleft.record.rows import (
    CalibrationRow,
    ChangeRow,
    EventRow,
    InstrumentRow,
    KeptRow,
    MachineRow,
    MarkRow,
    PredictionRow,
    ProposalRow,
    ReadingRow,
    StepRow,
    TrialRow,
    WireLogRow,
)
from asleft.record.store import Store
from asleft.record.typeset import to_pdf
from asleft.record.workplace import Workplace
from asleft.record.write import write_record

__all__ = [
    "CalibrationRow",
    "ChangeRow",
    "EventRow",
    "InstrumentRow",
    "KeptRow",
    "MachineRow",
    "MarkRow",
    "PredictionRow",
    "ProposalRow",
    "ReadingRow",
    "StepRow",
    "Store",
    "TrialRow",
    "WireLogRow",
    "Workplace",
    "assemble",
    "gather",
    "history_chart",
    "to_pdf",
    "write_record",
]
