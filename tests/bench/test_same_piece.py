"""The same command again goes on with its trial, though bed and nozzle shaped the piece."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from asleft.bench.trial.resuming import is_the_same
from asleft.controller import MachineDescription
from asleft.errors import RefusedError
from asleft.measure import Instrument
from asleft.pieces import FitPiece, SpanPiece
from asleft.trials import Basis, for_machine

MACHINE = MachineDescription(name="workbench", travel_mm=(120.0, 160.0, 150.0), nozzle_mm=0.6)


@pytest.mark.parametrize(
    ("kind", "piece", "another"),
    [
        ("span", SpanPiece(pitch_mm=80.0), SpanPiece(pitch_mm=85.0)),
        ("fit", FitPiece(gauge_mm=6.0, parts="bores"), FitPiece(gauge_mm=6.1, parts="bores")),
    ],
)
def test_the_same_wish_goes_on_and_another_is_refused(kind, piece, another) -> None:
    trial = for_machine(kind, {"piece": piece}, MACHINE)
    assert trial.piece != piece
    basis = Basis(Instrument(), {"X": 80.0})
    row = SimpleNamespace(
        kind=kind,
        at="2031-03-04T10:00:00",
        kept_id=1,
        parameters={"trial": trial.parameters, "basis": basis.to_dict()},
    )
    is_the_same(row, {"piece": piece})
    with pytest.raises(RefusedError, match="another one"):
        is_the_same(row, {"piece": another})
