"""Opening a machine's line: with what limits at first, and what becomes of heat found on it.

Not for deciding which machine it is (see `recognising`). Stands on `controller` and `Person`.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from asleft.bench.line.recognising import BY_ADDRESS
from asleft.bench.person import Ask, Person
from asleft.controller import MachineDescription
from asleft.errors import InputError, RefusedError

if TYPE_CHECKING:
    from asleft.controller import Machine
    from asleft.record import MachineRow, Store

FOUND_HOT = Ask(
    "connect.hot",
    "The machine is hot and does not say whether it is printing. Is it idle? Yes switches its"
    " heaters off; no leaves it alone.",
    cautions=("A hot nozzle burns: keep hands away.",),
    action="approve",
    only_in_person=True,
)


def to_open(
    row: MachineRow | None, address: str | None, rate_baud: int | None
) -> MachineDescription:
    """What is known of a machine before it was asked who it is, with where it is.

    Args:
        row: the machine that is named or likely, or None.
        address: as the person gave it; None takes the one described.
        rate_baud: as the person gave it; None takes the one described.

    Raises:
        InputError: no address is known.
    """
    known = MachineDescription.from_dict(row.description) if row else None
    address = address or (known.address if known else None)
    if address is None:
        raise InputError(
            "no port is known for this machine",
            hint="Give --port (`asleft ports` lists them), or describe the machine with it once.",
            where="--port",
        )
    wanted = known or MachineDescription(name=f"{BY_ADDRESS}{address}")
    return replace(wanted, address=address, rate_baud=rate_baud or wanted.rate_baud)


def may_be_left_hot(store: Store, row: MachineRow | None) -> bool:
    """Whether an unfinished trial of ours had heated this machine and not yet cooled it.

    Then heaters off goes out before any question: a crash of ours may have left it hot.
    """
    open_row = store.open_calibration_of(row.id) if row else None
    if open_row is None:
        return False
    unfinished = store.unfinished_trial(open_row.id, "feed")
    marks = {mark.key: mark.state for mark in store.steps(unfinished.id)} if unfinished else {}
    return "feed.heat" in marks and marks.get("feed.cool") != "done"


def settle_heat(machine: Machine, person: Person) -> None:
    """A machine found hot is printing, or was left hot: only its owner knows which.

    Raises:
        RefusedError: it may be printing; it was left alone.
    """
    if machine.printing is False or not machine.is_heated():
        return
    if not person.confirm(FOUND_HOT):
        raise RefusedError(
            "the machine is hot and may be printing: it was left alone",
            hint="Come back when the print has ended.",
            where=machine.facts.address,
        )
    machine.heat_off()
