"""Shapes of received lines (common practice, no source), and any text at all."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.link.hearing import classify, temperatures


@pytest.mark.parametrize(
    ("line", "kind", "text", "number"),
    [
        ("ok", "ok", "", None),
        ("ok N41 P7 B2", "ok", "", 41),
        ("ok P7 B2", "ok", "", None),
        (
            "ok T:198.6 /205.0 B:54.9 /55.0 @:61 B@:12",
            "ok",
            "T:198.6 /205.0 B:54.9 /55.0 @:61 B@:12",
            None,
        ),
        ("ok P15 B3 T:20.1 /0.0", "ok", "T:20.1 /0.0", None),
        ("ok X:12.50 Y:0.00", "ok", "X:12.50 Y:0.00", None),
        ("ok B:54.9 /55.0", "ok", "B:54.9 /55.0", None),
        ("\x00ok", "ok", "", None),
    ],
)
def test_acknowledgements(line: str, kind: str, text: str, number: int | None) -> None:
    heard = classify(line)
    assert (heard.kind, heard.text, heard.number) == (kind, text, number)


@pytest.mark.parametrize("line", ['{"note":"ok"}', "queue ok", "okay", "okT:20", "ok: fine", "rok"])
def test_ok_elsewhere_is_no_acknowledgement(line: str) -> None:
    assert classify(line).kind == "text"


@pytest.mark.parametrize("line", ["Resend: 58", "Resend:58", "rs 58", "rs N58", "resend 58"])
def test_resend_forms(line: str) -> None:
    assert classify(line) == type(classify(line))("resend", line, 58)


@pytest.mark.parametrize(
    ("line", "kind"),
    [
        ("start", "banner"),
        ("echo:start", "banner"),
        ("echo: Free Memory: 4096  PlannerBufferBytes: 1152", "banner"),
        ("start printing", "text"),
        ("restart", "text"),
        ("wait", "wait"),
        ("busy: heating", "busy"),
        ("echo:busy: moving", "busy"),
        ("T:201.3 /205.0 B:60.0 /60.0 W:3", "temperature"),
        ("T0:20.0 /0.0 T1:21.0 /0.0", "temperature"),
        ("B:60.1 /60.0", "temperature"),
        ("Error:checksum mismatch, Last Line: 57", "error"),
        ("error: unsupported", "error"),
        ("!! must home first", "error"),
        ("Error:Printer halted. kill() called!", "halted"),
        ("// a comment", "text"),
        ("//action:notification hello", "action"),
        ("echo:  M92 X100.40 Y100.40 Z1600.00 E139.70", "text"),
        ("rs 99999999999999999999", "text"),
        ("", "text"),
    ],
)
def test_other_lines(line: str, kind: str) -> None:
    assert classify(line).kind == kind


def test_temperatures_in_any_order_and_shape() -> None:
    found = temperatures("B:54.9/55.0 T0:201.3 /205.0 T1:-15 @:61 B@:12 T:inf")
    assert [(t.sensor, t.actual_c, t.target_c) for t in found] == [
        ("B", 54.9, 55.0),
        ("T0", 201.3, 205.0),
        ("T1", -15.0, None),
        ("T", float("inf"), None),
    ]
    assert temperatures("ok P7 B2") == ()
    assert temperatures("@:61 B@:12") == ()


@given(st.text())
def test_total(text: str) -> None:
    heard = classify(text)
    assert heard.number is None or heard.kind in {"ok", "resend"}
    temperatures(text)


@given(st.binary(max_size=80))
def test_noise_before_a_line_end_is_never_an_acknowledgement(data: bytes) -> None:
    if b"ok" not in data:
        assert classify(data.decode("utf-8", "replace")).kind != "ok"
