"""The person at the terminal: what is asked, what is taken, what is asked again."""

from __future__ import annotations

import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.bench.person import Ask
from asleft.cli.failure import InputEndedError
from asleft.cli.terminal import TerminalPerson
from asleft.errors import InputError
from asleft.trials import FeedTrial

REMAINING = Ask("feed.2.remaining", "measure what remains", count=(2, 4))


class Keyboard(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True


class Clock:
    """Seconds that pass when told."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


def person(typed: str, *, terminal: bool = True, yes: bool = False):
    source = Keyboard(typed) if terminal else io.StringIO(typed)
    target = io.StringIO()
    return TerminalPerson(yes=yes, source=source, target=target), target


@pytest.mark.parametrize(
    ("typed", "value_mm"),
    [("20,05", 20.05), ("20.05", 20.05), ("0.79 in", 20.066), ("  1,234 ", 1.234), ("0", 0.0)],
)
def test_a_number_as_people_type_it_keeps_its_text(typed, value_mm):
    someone, _ = person(typed + "\n")
    answer = someone.number(REMAINING)
    assert answer.value == pytest.approx(value_mm)
    assert answer.raw == typed


@pytest.mark.parametrize("bad", ["", "abc", "nan", "inf", "1e3", "1,234.5", "1 234", "-3"])
def test_a_bad_number_is_asked_again(bad):
    someone, shown = person(f"{bad}\n20.05\n")
    assert someone.number(REMAINING).value == 20.05
    assert shown.getvalue().count("[mm]") == 2


@given(st.text(st.characters(blacklist_categories=("Cs",), blacklist_characters="\n\r")))
def test_any_text_ends_in_a_number_or_a_second_question(text):
    someone, _ = person(text + "\n7.5\n", terminal=False)
    answer = someone.number(REMAINING)
    assert answer.raw in (text, "7.5") and answer.value >= 0


def test_bounds_of_the_question_hold():
    ask = Ask("k", "measure", details={"low": -1.0, "high": 120.0})
    someone, shown = person("-2\n121\n-0.5\n")
    assert someone.number(ask).value == -0.5
    assert shown.getvalue().count("impossible") == 2


def test_back_where_no_trial_is_under_way_is_told_and_asked_again():
    someone, shown = person("back\nno\n")
    assert someone.confirm(Ask("set.confirm", "Send M92 X81?", action="approve")) is False
    assert "Nothing stands before this" in shown.getvalue()


def test_a_mark_that_went_in_is_no_length():
    (ask,) = (
        step for step in FeedTrial(temperature_c=205.0).steps if step.key == "feed.1.remaining"
    )
    someone, shown = person("0\n0,0\n7.5\n")
    question = Ask(ask.key, ask.text, details=ask.details)
    assert someone.number(question).value == 7.5
    assert shown.getvalue().count("The mark went in") == 2


def test_the_question_stands_behind_its_cautions():
    ask = Ask("k", "measure", cautions=("The nozzle is hot.",), count=(4, 12), place="7")
    someone, shown = person("1\n")
    someone.number(ask)
    text = shown.getvalue()
    assert text.index("Caution: The nozzle is hot.") < text.index("4 of 12: place 7: measure.")


@pytest.mark.parametrize(("typed", "answer"), [("y", True), ("YES", True), ("n", False)])
def test_yes_and_no(typed, answer):
    someone, _ = person(f"perhaps\n\n{typed}\n")
    assert someone.confirm(Ask("k", "was it printed?")) is answer


def test_the_option_answers_yes_and_shows_the_question():
    someone, shown = person("", terminal=False, yes=True)
    assert someone.confirm(Ask("k", "send it?", cautions=("It moves.",)))
    assert "Send it?" in shown.getvalue() and "It moves." in shown.getvalue()


@pytest.mark.parametrize("yes", [True, False])
def test_what_only_a_person_can_know_is_answered_by_no_option(yes):
    ask = Ask("connect.hot", "is it idle?", only_in_person=True)
    someone, shown = person("no\n", yes=yes)
    assert someone.confirm(ask) is False
    assert "[yes or no]" in shown.getvalue()
    nobody, _ = person("yes\n", terminal=False, yes=yes)
    with pytest.raises(InputError, match="only a person") as refused:
        nobody.confirm(ask)
    assert refused.value.exit_status == 2 and "at a terminal" in (refused.value.hint or "")


def test_nobody_there_is_refused_with_the_option_that_answers():
    someone, _ = person("y\n", terminal=False)
    with pytest.raises(InputError) as refused:
        someone.confirm(Ask("k", "send it?"))
    assert "--yes" in (refused.value.hint or "")


@pytest.mark.parametrize("terminal", [True, False])
def test_the_end_of_the_input_is_a_stop_with_status_1(terminal):
    someone, _ = person("", terminal=terminal)
    with pytest.raises(InputEndedError) as stopped:
        someone.number(REMAINING)
    assert stopped.value.exit_status == 1


def test_progress_without_a_terminal_is_a_line_now_and_then():
    clock, target = Clock(), io.StringIO()
    someone = TerminalPerson(source=io.StringIO(), target=target, clock_s=clock)
    for second in range(61):
        clock.now_s = float(second)
        someone.progress("heating", second / 60, 60.0 - second)
    lines = target.getvalue().splitlines()
    assert lines[0] == "Heating: 0%, about 1 min 00 s left"
    assert lines[-1] == "Heating: 100%"
    assert len(lines) == 7  # every ten seconds
    assert "\x1b" not in target.getvalue() and "\r" not in target.getvalue()


def test_progress_on_a_terminal_leaves_the_line_before_a_question():
    target = Keyboard()
    someone = TerminalPerson(source=Keyboard("1\n"), target=target)
    someone.progress("heating", 0.5, 8.0)
    someone.number(REMAINING)
    drawn = target.getvalue()
    assert "about 8 s left\n" in drawn
    assert drawn.index("Heating") < drawn.index("2 of 4")


@pytest.mark.parametrize(("no_color", "styled"), [("", True), ("1", False)])
def test_no_color_is_honoured(monkeypatch, no_color, styled):
    monkeypatch.setenv("NO_COLOR", no_color)
    monkeypatch.setenv("TERM", "xterm")
    target = Keyboard()
    TerminalPerson(source=Keyboard("1\n"), target=target).number(REMAINING)
    assert ("\x1b[" in target.getvalue()) is styled


TRIED = Ask(
    "fit.1.B3",
    "try the shaft",
    details={"choices": [["refuses", "will not go in"], ["turns", "fits"], ["loose", "rattles"]]},
)


@pytest.mark.parametrize(
    ("typed", "value"),
    [("turns", "turns"), ("T", "turns"), (" lo ", "loose"), ("x\n\n?\nr", "refuses")],
)
@pytest.mark.parametrize("terminal", [True, False])
def test_a_choice_is_taken_by_its_word_or_its_first_letters(typed, value, terminal):
    someone, shown = person(typed + "\n", terminal=terminal)
    assert someone.choose(TRIED) == value
    assert shown.getvalue().count("Please type") == typed.count("\n")


def test_a_choice_that_fits_two_words_is_asked_again_and_back_takes_back():
    from asleft.bench import TakeBack

    two = Ask("x", "which", details={"choices": [["left", "a"], ["level", "b"]]})
    someone, shown = person("le\nlev\nback\n")
    assert someone.choose(two) == "level"
    assert "left or level" in shown.getvalue()
    with pytest.raises(TakeBack):
        someone.choose(two)
