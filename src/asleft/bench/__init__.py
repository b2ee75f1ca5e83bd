"""The bench: runs trials on a machine, changes it, proves it, and files everything.

The only room that knows machine, trial and store together. Faces use `Bench` and answer as a
`Person`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from asleft.bench.person import Ask, Person, TakeBack
from asleft.bench.seat import Later
from asleft.bench.several import Several
from asleft.bench.workshop import Bench
from asleft.record.workplace import Workplace

if TYPE_CHECKING:
    from asleft.controller.heat import Warming as Warming

__all__ = ["Ask", "Bench", "Later", "Person", "Several", "TakeBack", "Workplace"]
