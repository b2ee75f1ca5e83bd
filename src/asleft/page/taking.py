"""Files to take away: the piece that is to be printed now, the record of the last calibration.

Not for what stands in it. Stands on `bench`.
"""

from __future__ import annotations

from collections.abc import Mapping

from asleft.bench.taking_away import piece_zip, record_bytes
from asleft.errors import InputError
from asleft.page.house import House
from asleft.units import parse_typed

FORMS = {"pdf": "application/pdf", "json": "application/json", "csv": "text/csv; charset=utf-8"}


def record_file(house: House, machine: str, form: str) -> tuple[bytes, str]:
    """The record of the machine's last calibration, and a name for the file.

    Raises:
        InputError: nothing was calibrated yet.
    """
    with house.look(machine) as bench:
        number = bench.last_calibration()
        if number is None:
            raise InputError("there is no record yet", hint="Keep the machine as found first.")
        document = bench.record(number, close=False)
    return record_bytes(document, form), f"calibration-{number}.{form}"  # type: ignore[arg-type]


def piece_files(house: House, machine: str, asked: Mapping[str, str]) -> tuple[bytes, str]:
    """The files of the piece that the present step asks for, packed, and a name for them.

    Raises:
        InputError: nothing is to be printed now, or a temperature that cannot be.
    """
    present = house.worker(machine).person.present
    if present is None or present.ask.action != "print":
        raise InputError("nothing is to be printed now", hint="Come back at that step.")
    with house.look() as bench:
        described = bench.machine(machine)
    temperatures = {
        name: parse_typed(asked[name], where=name.removesuffix("_c"), lengths=False).value
        if asked.get(name, "").strip()
        else None
        for name in ("nozzle_c", "bed_c")
    }
    details = present.ask.details
    return piece_zip(details, described, **temperatures), f"{details['piece']}-piece.zip"
