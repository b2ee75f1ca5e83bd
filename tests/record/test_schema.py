"""The tables as built: append-only, checked, and the same as the program says they are."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Connection, Engine, UniqueConstraint, inspect, text
from sqlalchemy.exc import IntegrityError

from asleft.record import Store, schema
from asleft.record.engine import open_engine

AT = "2026-03-14T18:30:00.000000Z"
TABLES = sorted(schema.metadata.tables)
EMPTY = ("proposal_withdrawal", "condition", "delivery")  # of which an evening in a file has none


@pytest.fixture
def engine(calibrated: tuple[Store, int], tmp_path: Path) -> Iterator[Engine]:
    opened = open_engine(tmp_path / "home")
    yield opened
    opened.dispose()


@pytest.fixture
def connection(engine: Engine) -> Iterator[Connection]:
    with engine.connect() as opened:
        yield opened


@pytest.mark.parametrize("table", [name for name in TABLES if name not in EMPTY])
@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE {} SET at = at",
        "DELETE FROM {}",
        "INSERT OR REPLACE INTO {0} SELECT * FROM {0}",
    ],
)
def test_no_row_is_ever_altered_or_deleted(
    connection: Connection, table: str, statement: str
) -> None:
    assert connection.execute(text(f"SELECT count(*) FROM {table}")).scalar()  # noqa: S608
    with pytest.raises(IntegrityError, match=f"rows of {table} are never altered or deleted|open"):
        connection.execute(text(statement.format(table)))


# table, the values of a good row, then column and bad values, and the CHECK that says so
BAD: list[tuple[str, dict[str, Any], str, list[Any], str]] = [
    ("machine", {"name": "m"}, "name", ["", "  "], "ck_machine_name_filled"),
    ("instrument", {"name": "i"}, "name", [""], "ck_instrument_name_filled"),
    (
        "calibration_close",
        {"calibration_id": 2, "reason": "r"},
        "reason",
        [" "],
        "ck_calibration_close_reason_filled",
    ),
    (
        "kept_state",
        {"machine_id": 1, "raw": "", "parsed": "{}", "reason": "r", "standing": "typed"},
        "standing",
        ["guessed", "", "Typed"],
        "ck_kept_state_standing",
    ),
    (
        "kept_state",
        {"machine_id": 1, "raw": "", "parsed": "{}", "reason": "r", "standing": "typed"},
        "reason",
        [""],
        "ck_kept_state_reason_filled",
    ),
    (
        "trial",
        {
            "calibration_id": 1,
            "kind": "span",
            "parameters": "{}",
            "steps": "[]",
            "instrument": "{}",
            "making": "{}",
        },
        "kind",
        ["cube", ""],
        "ck_trial_kind",
    ),
    (
        "trial_end",
        {"trial_id": 4, "outcome": "done", "reason": ""},
        "outcome",
        ["success", "unfinished"],
        "ck_trial_end_outcome",
    ),
    (
        "trial_end",
        {"trial_id": 4, "outcome": "failed", "reason": "line lost"},
        "reason",
        ["", " "],
        "ck_trial_end_reason_given",
    ),
    (
        "step_mark",
        {"trial_id": 1, "key": "k", "state": "done", "details": "{}"},
        "state",
        ["finished"],
        "ck_step_mark_state",
    ),
    (
        "step_mark",
        {"trial_id": 1, "key": "k", "state": "done", "details": "{}"},
        "key",
        [""],
        "ck_step_mark_key_filled",
    ),
    (
        "proposal",
        {"trial_id": 1, "setting": "s", "axis": "X", "details": "{}"},
        "setting",
        [""],
        "ck_proposal_setting_filled",
    ),
    (
        "proposal",
        {"trial_id": 1, "setting": "s", "axis": "X", "details": "{}"},
        "axis",
        [""],
        "ck_proposal_axis_filled",
    ),
    (
        "proposal_withdrawal",
        {"proposal_id": 1, "reason": "r"},
        "reason",
        [""],
        "ck_proposal_withdrawal_reason_filled",
    ),
    (
        "change",
        {"calibration_id": 1, "kind": "set", "settings": "[]", "proposal_ids": "[]"},
        "kind",
        ["write"],
        "ck_change_kind",
    ),
    (
        "change_mark",
        {"change_id": 1, "state": "sent", "details": "{}"},
        "state",
        ["ok"],
        "ck_change_mark_state",
    ),
    ("delivery", {"token": "t"}, "token", ["", " "], "ck_delivery_token_filled"),
    ("event", {"machine_id": 1, "kind": "belt", "text": ""}, "kind", [""], "ck_event_kind_filled"),
    (
        "wire_log",
        {"machine_id": 1, "path": "p", "first_line": 3, "last_line": 3},
        "last_line",
        [2],
        "ck_wire_log_lines",
    ),
    (
        "wire_log",
        {"machine_id": 1, "path": "p", "first_line": 1, "last_line": 3},
        "first_line",
        [0, -1],
        "ck_wire_log_lines",
    ),
    (
        "wire_log",
        {"machine_id": 1, "path": "p", "first_line": 1, "last_line": 3},
        "path",
        [""],
        "ck_wire_log_path_filled",
    ),
]
READING = {
    "trial_id": 1,
    "key": "k",
    "take": 0,
    "place": "{}",
    "value": 1.0,
    "raw": "1",
    "unit": "mm",
}
BAD += [
    ("reading", READING, "value", [1e6, -1e6, 1e300, float("inf")], "ck_reading_value_finite"),
    ("reading", READING, "take", [-1], "ck_reading_take"),
    ("reading", READING, "key", [""], "ck_reading_key_filled"),
    ("reading", READING, "unit", [""], "ck_reading_unit_filled"),
    (
        "reading_void",
        {"reading_id": 2, "reason": "r"},
        "reason",
        [""],
        "ck_reading_void_reason_filled",
    ),
]


def insert(connection: Connection, table: str, values: dict[str, Any]) -> None:
    row = {"at": AT, **values}
    names, marks = ", ".join(row), ", ".join(f":{name}" for name in row)
    with connection.begin_nested():
        connection.execute(text(f"INSERT INTO {table} ({names}) VALUES ({marks})"), row)  # noqa: S608


@pytest.mark.parametrize(("table", "good", "column", "bad", "check"), BAD)
def test_checks(
    calibrated: tuple[Store, int],
    connection: Connection,
    table: str,
    good: dict[str, Any],
    column: str,
    bad: list[Any],
    check: str,
) -> None:
    needed(connection, table)
    for value in bad:
        with pytest.raises(IntegrityError, match=check):
            insert(connection, table, {**good, column: value})
    insert(connection, table, good)


def needed(connection: Connection, table: str) -> None:
    """An open calibration and a trial without an end, for the rows that close them."""
    if table == "calibration_close":
        values = {"machine_id": 1, "versions": "{}", "conditions": "{}"}
        insert(connection, "calibration", values)
    if table == "trial_end":
        more = {"parameters": "{}", "steps": "[]", "instrument": "{}", "making": "{}"}
        insert(connection, "trial", {"calibration_id": 1, "kind": "feed", **more})


@pytest.mark.parametrize(
    "at", ["", "2026-03-14", "2026-03-14 18:30:00Z", "2026-03-14T18:30:00+01:00", None]
)
def test_times_are_utc(connection: Connection, at: str | None) -> None:
    with pytest.raises(IntegrityError, match=r"ck_event_at_utc|NOT NULL"):
        insert(connection, "event", {"at": at, "machine_id": 1, "kind": "belt", "text": ""})


def test_every_check_was_tried(engine: Engine) -> None:
    tried = {check for *_, check in BAD} | {f"ck_{name}_at_utc" for name in TABLES}
    built = {
        each["name"] for name in TABLES for each in inspect(engine).get_check_constraints(name)
    }
    assert built == tried


def test_a_second_open_calibration_is_refused_by_the_table_itself(connection: Connection) -> None:
    values = {"machine_id": 1, "versions": "{}", "conditions": "{}"}
    insert(connection, "calibration", values)
    with pytest.raises(IntegrityError, match="has an open calibration"):
        insert(connection, "calibration", values)


def test_the_migrations_build_what_the_program_names(engine: Engine) -> None:
    seen = inspect(engine)
    assert sorted(seen.get_table_names()) == sorted([*TABLES, "alembic_version", "lease"])
    for name, table in schema.metadata.tables.items():
        columns = {each["name"]: each["nullable"] for each in seen.get_columns(name)}
        assert columns == {each.name: bool(each.nullable) for each in table.columns}
        automatic = seen.get_indexes(name, include_auto_indexes=True)
        unique = {tuple(each["column_names"]) for each in automatic if each["unique"]}
        named = {str(each.name) for each in table.constraints}
        assert unique == {
            tuple(each.columns.keys())
            for each in table.constraints
            if isinstance(each, UniqueConstraint)
        }
        checks = {each["name"] for each in seen.get_check_constraints(name)}
        assert checks == {each for each in named if each.startswith("ck_")}
    leases = {each["name"]: each["nullable"] for each in seen.get_columns("lease")}
    assert leases == {each.name: bool(each.nullable) for each in schema.lease.columns}


def test_the_words_of_the_checks_are_those_of_the_program(engine: Engine) -> None:
    words = {
        "ck_trial_kind": schema.TRIAL_KINDS,
        "ck_trial_end_outcome": schema.OUTCOMES,
        "ck_step_mark_state": schema.STEP_STATES,
        "ck_kept_state_standing": schema.STANDINGS,
        "ck_change_kind": schema.CHANGE_KINDS,
        "ck_change_mark_state": schema.CHANGE_STATES,
    }
    for name in TABLES:
        for each in inspect(engine).get_check_constraints(name):
            if expected := words.pop(str(each["name"]), None):
                inside = each["sqltext"].partition("(")[2].rpartition(")")[0]
                assert tuple(w.strip(" '\n") for w in inside.split(",")) == expected
    assert words == {}
