"""What is pasted beside what was seen in a machine's storage: a part says nothing of the rest."""

from __future__ import annotations

from asleft.bench import Bench
from asleft.controller import parse_report
from asleft.record import Store

WHOLE = "M92 X80.00 Y80.00 Z400.00 E93.00\nM203 X300.00 Y300.00 Z5.00 E25.00\nM205 X8.00\nok\n"


class Nobody:
    """Nobody is asked."""

    def tell(self, text: str) -> None:
        raise AssertionError(text)


def test_a_paste_of_one_line_does_not_say_that_the_rest_is_gone(tmp_path):
    with Store.open(tmp_path) as store:
        number = store.add_machine({"name": "case clocks"})
        seen = parse_report(WHOLE)
        store.keep(
            number, raw=seen.raw, parsed=seen.to_dict(), reason="seen", standing="from_storage"
        )
    with Bench(tmp_path, Nobody(), holder="test") as bench:  # type: ignore[arg-type]
        told = bench.found_from_report("M92 X80.00 Y80.40 Z400.00 E93.00\n", "paste.txt")
    assert told["differs_from_stored"] == ["M92 Y 80, now 80.4"]
    assert "5 of the values seen in storage before are not in it" in told["warnings"]
