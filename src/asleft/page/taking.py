"""Files to take away: the record of a machine's last calibration.

Not for what stands in it. Stands on `bench`.
"""

from __future__ import annotations

from asleft.bench.taking_away import record_bytes
from asleft.errors import InputError
from asleft.page.house import House

FORMS = {"pdf": "application/pdf", "json": "application/json", "csv": "text/csv; charset=utf-8"}


def record_file(house: House, machine: str, form: str) -> tuple[bytes, str]:
    """The record of the machine's last calibration, and a name for the file.

    Raises:
        InputError: nothing was calibrated yet.
    """
    with house.look(machine) as bench:
        number = bench.standing()["calibration"]
        if number is None:
            raise InputError("there is no record yet", hint="Keep the machine as found first.")
        document = bench.record(number, close=False)
    return record_bytes(document, form), f"calibration-{number}.{form}"  # type: ignore[arg-type]
