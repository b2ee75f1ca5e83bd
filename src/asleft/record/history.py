"""What the store holds of the past, read for many calibrations at once.

Few queries, each over one machine or over the latest trials, so that the view stays quick as the
store grows; only the parts of the documents that are charted leave the database. Judges nothing.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, cast

from asleft.record import schema

if TYPE_CHECKING:
    from sqlalchemy import Column

    from asleft.record.store import Store

LATEST_TRIALS = 4000  # of all machines: what an instrument is judged by
LATEST_OF_INSTRUMENT = 400
_AT_ONCE = 500  # numbers in one query


@dataclass(frozen=True)
class Measured:
    """One trial that was done: what it found, with what, on which settings.

    `quantities` as in `asleft.solve/1`; `tolerance` by kind, empty where none was stated.
    """

    machine_id: int
    calibration_id: int
    trial_id: int
    kind: str
    at: str
    kept_id: int | None
    instrument: dict[str, Any]
    making: dict[str, Any]
    tolerance: dict[str, float]
    quantities: list[dict[str, Any]]


@dataclass(frozen=True)
class Settings:
    """The settings of a kept state by name, so far as they were told."""

    steps_per_mm: dict[str, float]
    skew: dict[str, float]
    delta: dict[str, float]


@dataclass(frozen=True)
class MachinePast:
    """One machine's calibrations, counted; times ISO 8601, None where there are none."""

    id: int
    name: str
    calibrations: int
    first: str | None
    last: str | None


def measured_on(store: Store, machine_id: int, until: str | None = None) -> list[Measured]:
    """All trials done on a machine, up to a time where one is given, oldest first."""
    return _measured(store, machine_id=machine_id, until=until)


def measured_with(store: Store, instrument: str, until: str | None = None) -> list[Measured]:
    """The latest trials done with an instrument on any machine, up to a time, oldest first."""
    return _measured(store, instrument=instrument, until=until)


def _json(column: Column[object], *path: str) -> Any:
    """A part of a JSON document, taken out by the database."""
    return cast("Any", column)[path[0] if len(path) == 1 else path]


def _measured(
    store: Store,
    *,
    machine_id: int | None = None,
    instrument: str | None = None,
    until: str | None,
) -> list[Measured]:
    from sqlalchemy import func, select

    trial, end, frame = schema.trial, schema.trial_end, schema.calibration
    query = (
        select(
            frame.c.machine_id,
            frame.c.id,
            trial.c.id,
            trial.c.kind,
            end.c.at,
            trial.c.kept_state_id,
            trial.c.instrument,
            trial.c.making,
            _json(trial.c.parameters, "basis", "tolerance"),
            _json(end.c.result, "quantities"),
        )
        .join_from(trial, end, end.c.trial_id == trial.c.id)
        .join(frame, frame.c.id == trial.c.calibration_id)
        .where(end.c.outcome == "done", trial.c.kind != "proof")
        .order_by(trial.c.id.desc())
    )
    if machine_id is not None:
        query = query.where(frame.c.machine_id == machine_id)
    latest = select(func.coalesce(func.max(trial.c.id), 0) - LATEST_TRIALS)
    if until is not None:
        query = query.where(end.c.at <= until)
        latest = latest.where(trial.c.at <= until)
    if instrument is not None:
        query = query.where(
            trial.c.id > latest.scalar_subquery(),
            _json(trial.c.instrument, "name").as_string() == instrument,
        ).limit(LATEST_OF_INSTRUMENT)
    with store._reading() as connection:
        found = connection.execute(query).all()
    return [
        Measured(*row[:6], *(part or {} for part in row[6:9]), row[9] or [])  # type: ignore[call-arg]
        for row in reversed(found)
    ]


def settings_of(store: Store, kept_ids: Collection[int]) -> dict[int, Settings]:
    """The settings of kept states by their number."""
    from sqlalchemy import select

    table = schema.kept_state
    query = select(
        table.c.id, *(_json(table.c.parsed, name) for name in ("steps_per_mm", "skew", "delta"))
    )
    wanted = sorted(kept_ids)
    found: dict[int, Settings] = {}
    with store._reading() as connection:
        for start in range(0, len(wanted), _AT_ONCE):
            some = query.where(table.c.id.in_(wanted[start : start + _AT_ONCE]))
            for number, *parts in connection.execute(some).all():
                found[number] = Settings(*(_numbers(part) for part in parts))
    return found


def _numbers(values: dict[str, Any] | None) -> dict[str, float]:
    return {k: float(v) for k, v in (values or {}).items() if isinstance(v, int | float)}


def states_as_left(store: Store, machine_id: int, until: str | None = None) -> dict[int, int]:
    """By calibration, the number of the last kept state that was in force, up to a time."""
    from sqlalchemy import func, select

    table = schema.kept_state
    query = (
        select(table.c.calibration_id, func.max(table.c.id))
        .where(
            table.c.machine_id == machine_id,
            table.c.calibration_id.is_not(None),
            table.c.standing != "from_storage",
        )
        .group_by(table.c.calibration_id)
    )
    if until is not None:
        query = query.where(table.c.at <= until)
    with store._reading() as connection:
        return {int(calibration): int(kept) for calibration, kept in connection.execute(query)}


def last_done(store: Store, machine_id: int) -> dict[str, str]:
    """When each kind of trial was last done on a machine."""
    from sqlalchemy import func, select

    trial, end, frame = schema.trial, schema.trial_end, schema.calibration
    query = (
        select(trial.c.kind, func.max(end.c.at))
        .join_from(trial, end, end.c.trial_id == trial.c.id)
        .join(frame, frame.c.id == trial.c.calibration_id)
        .where(frame.c.machine_id == machine_id, end.c.outcome == "done")
        .group_by(trial.c.kind)
    )
    with store._reading() as connection:
        return {str(kind): str(at) for kind, at in connection.execute(query)}


def pasts(store: Store) -> list[MachinePast]:
    """Every machine with its calibrations counted, in the order of their numbers."""
    from sqlalchemy import func, select

    machine, frame = schema.machine, schema.calibration
    query = (
        select(
            machine.c.id,
            machine.c.name,
            func.count(frame.c.id),
            func.min(frame.c.at),
            func.max(frame.c.at),
        )
        .outerjoin_from(machine, frame, frame.c.machine_id == machine.c.id)
        .group_by(machine.c.id, machine.c.name)
        .order_by(machine.c.id)
    )
    with store._reading() as connection:
        return [MachinePast(*row) for row in connection.execute(query)]


def drives(store: Store) -> dict[int, str]:
    """Each machine's drive as described last."""
    from sqlalchemy import select

    table = schema.machine_description
    query = select(table.c.machine_id, _json(table.c.description, "drive")).order_by(table.c.id)
    with store._reading() as connection:
        told = connection.execute(query).all()
    return {int(machine): str(drive or "cartesian") for machine, drive in told}
