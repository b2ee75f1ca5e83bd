"""The same store on a real PostgreSQL, which the tests start for themselves and stop again."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from asleft.errors import RefusedError
from asleft.record import Store, assemble, history

pytestmark = pytest.mark.system("initdb", "postgres")


@pytest.fixture
def store(server: str, clock: Callable[[], object]) -> Iterator[Store]:
    with Store.open(server, clock=clock) as opened:  # type: ignore[arg-type]
        yield opened


def test_an_evening_is_kept_there_as_here(
    store: Store, fill: Callable[[Store], int], calibrated: tuple[Store, int], server: str
) -> None:
    here = assemble(*calibrated, versions={})
    there = assemble(store, fill(store), versions={})
    assert there == here
    with Store.open(server) as again:
        assert assemble(again, 1, versions={}) == here


def test_rows_are_never_altered_there_either(store: Store) -> None:
    machine = store.add_machine({"name": "orrery printer"})
    store.open_calibration(machine, versions={}, person=None, conditions={})
    with pytest.raises(RefusedError, match="still open"):
        store.open_calibration(machine, versions={}, person=None, conditions={})
    statements = ("UPDATE machine SET name = 'x'", "DELETE FROM event", "TRUNCATE event CASCADE")
    for statement in statements:
        with store._engine.connect() as connection:
            with pytest.raises(DBAPIError, match="never altered"):
                connection.execute(text(statement))
            connection.rollback()


def test_the_past_is_read_there_as_here(
    store: Store, fill: Callable[[Store], int], calibrated: tuple[Store, int]
) -> None:
    if not history.pasts(store):
        fill(store)
    here, _ = calibrated
    assert history.measured_on(here, 1)
    for each in (history.measured_on, history.states_as_left, history.last_done):
        assert each(store, 1) == each(here, 1)
    assert history.measured_with(store, "bench caliper") == history.measured_on(here, 1)
    numbers = history.states_as_left(here, 1).values()
    assert history.settings_of(store, numbers) == history.settings_of(here, numbers)
    assert history.drives(store)[1] == history.drives(here)[1] == "cartesian"
    assert history.pasts(store)[0].name == history.pasts(here)[0].name
