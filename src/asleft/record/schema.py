"""The store's tables, as the program speaks of them.

Rows are inserted, never altered or deleted: what ends, is set aside, withdrawn or undone gets
a row of its own that says so. CHECK constraints are written by hand, here and in the migrations,
which build the tables; this file only names them. Times are ISO 8601 text in UTC.
"""

from __future__ import annotations

from sqlalchemy import (
    JSON,
    CheckConstraint,
    Column,
    Float,
    ForeignKey,
    Integer,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)
from sqlalchemy.schema import SchemaItem

REVISIONS = ("0001", "0002")
"""Every schema revision, oldest first; the last is what this program writes."""
HEAD = REVISIONS[-1]

TRIAL_KINDS = ("feed", "span", "traverse", "bead", "fit", "proof")
OUTCOMES = ("done", "stopped", "failed", "no_estimate")
STEP_STATES = ("started", "done", "void")
STANDINGS = ("in_force", "after_reset", "from_storage", "typed", "pasted")
CHANGE_KINDS = ("set", "undo", "restore")
CHANGE_STATES = (
    "sent",
    "read_back",
    "stored",
    "not_stored",
    "power_cycled",
    "failed",
    "undone",
    "handed_over",
)

metadata = MetaData(
    naming_convention={
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def one_of(column: str, words: tuple[str, ...]) -> CheckConstraint:
    """A CHECK that a column holds one of these words."""
    listed = ", ".join(f"'{word}'" for word in words)
    return CheckConstraint(f"{column} IN ({listed})", name=column)


def filled(column: str) -> CheckConstraint:
    """A CHECK that a text is not empty."""
    return CheckConstraint(f"length(trim({column})) > 0", name=f"{column}_filled")


def _json(name: str, *, nullable: bool = False) -> Column[object]:
    return Column(name, JSON(none_as_null=True), nullable=nullable)


def _text(name: str, *, nullable: bool = False) -> Column[str]:
    return Column(name, Text, nullable=nullable)


def _to(table: str, *, nullable: bool = False) -> Column[int]:
    return Column(f"{table}_id", Integer, ForeignKey(f"{table}.id"), nullable=nullable)


def _table(name: str, *parts: SchemaItem) -> Table:
    """A table with a number of its own, the time of writing (its form checked) and who wrote.

    The person is None in rows from before names were kept.
    """
    return Table(
        name,
        metadata,
        Column("id", Integer, primary_key=True),
        Column("at", Text, nullable=False),
        Column("person", Text),
        *parts,
        CheckConstraint("at LIKE '____-__-__T__:__:__%Z'", name="at_utc"),
    )


machine = _table("machine", _text("name"), UniqueConstraint("name"), filled("name"))
machine_description = _table("machine_description", _to("machine"), _json("description"))
machine_fingerprint = _table("machine_fingerprint", _to("machine"), _text("fingerprint"))
instrument = _table("instrument", _text("name"), UniqueConstraint("name"), filled("name"))
instrument_description = _table("instrument_description", _to("instrument"), _json("description"))
instrument_check = _table("instrument_check", _to("instrument"), _json("details"))

calibration = _table("calibration", _to("machine"), _json("versions"), _json("conditions"))
calibration_close = _table(
    "calibration_close", _to("calibration"), _text("reason"), UniqueConstraint("calibration_id"),
    filled("reason"),
)  # fmt: skip
condition = _table("condition", _to("calibration"), _json("details"))
kept_state = _table(
    "kept_state", _to("machine"), _to("calibration", nullable=True), _text("raw"),
    _json("parsed"), _text("reason"), _text("standing"),
    one_of("standing", STANDINGS), filled("reason"),
)  # fmt: skip

trial = _table(
    "trial", _to("calibration"), _text("kind"), _json("parameters"), _json("steps"),
    _to("kept_state", nullable=True), _json("instrument"), _json("making"),
    one_of("kind", TRIAL_KINDS),
)  # fmt: skip
trial_end = _table(
    "trial_end", _to("trial"), _text("outcome"), _text("reason"), _json("result", nullable=True),
    UniqueConstraint("trial_id"), one_of("outcome", OUTCOMES),
    CheckConstraint("outcome = 'done' OR length(trim(reason)) > 0", name="reason_given"),
)  # fmt: skip
step_mark = _table(
    "step_mark", _to("trial"), _text("key"), _text("state"), _json("details"),
    one_of("state", STEP_STATES), filled("key"),
)  # fmt: skip
reading = _table(
    "reading", _to("trial"), _text("key"), Column("take", Integer, nullable=False),
    _json("place"), Column("value", Float, nullable=False), _text("raw"), _text("unit"),
    UniqueConstraint("trial_id", "key", "take"), filled("key"), filled("unit"),
    CheckConstraint("take >= 0", name="take"),
    CheckConstraint("value > -1000000 AND value < 1000000", name="value_finite"),
)  # fmt: skip
reading_void = _table(
    "reading_void", _to("reading"), _text("reason"), UniqueConstraint("reading_id"),
    filled("reason"),
)  # fmt: skip

proposal = _table(
    "proposal", _to("trial"), _text("setting"), _text("axis"), _json("details"),
    filled("setting"), filled("axis"),
)  # fmt: skip
proposal_withdrawal = _table(
    "proposal_withdrawal", _to("proposal"), _text("reason"), UniqueConstraint("proposal_id"),
    filled("reason"),
)  # fmt: skip
change = _table(
    "change", _to("calibration"), _text("kind"), _json("settings"), _json("proposal_ids"),
    _to("kept_state", nullable=True), one_of("kind", CHANGE_KINDS),
)  # fmt: skip
change_mark = _table(
    "change_mark", _to("change"), _text("state"), _json("details"),
    one_of("state", CHANGE_STATES),
)  # fmt: skip
prediction = _table("prediction", _to("calibration"), _to("trial"), _json("details"))
event = _table("event", _to("machine"), _text("kind"), _text("text"), filled("kind"))
wire_log = _table(
    "wire_log", _to("machine"), _to("calibration", nullable=True), _text("path"),
    Column("first_line", Integer, nullable=False), Column("last_line", Integer, nullable=False),
    CheckConstraint("first_line >= 1 AND last_line >= first_line", name="lines"), filled("path"),
)  # fmt: skip

delivery = _table("delivery", _text("token"), UniqueConstraint("token"), filled("token"))
"""One row for each transaction that was written over a network: the proof that it came in."""

now = MetaData()
"""What is so now and may be altered: no part of what is kept, copied or backed up for good."""
lease = Table(
    "lease",
    now,
    Column("token", Text, primary_key=True),
    Column("machine_id", Integer, nullable=False),
    _text("place"),
    _text("person"),
    _text("holder"),
    Column("since_s", Float, nullable=False),
    Column("until_s", Float, nullable=False),
)
"""Who works at a machine, until when at least. Seconds since 1970 by the database's clock."""
