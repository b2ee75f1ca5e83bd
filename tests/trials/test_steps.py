"""Trials as lists of steps: shown, checked against limits, rebuilt from what the store keeps."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from asleft.controller import MachineDescription
from asleft.errors import InputError, RefusedError
from asleft.measure import Instrument, parse_span_table
from asleft.pieces import BeadPiece, FitPiece, SpanPiece, fits, line_sizes
from asleft.trials import (
    Basis,
    Choose,
    CoolDown,
    Entry,
    Feed,
    FeedTrial,
    FitTrial,
    Heat,
    Move,
    Read,
    SpanTrial,
    TraverseTrial,
    build,
    check,
    for_machine,
    listing,
)

WORKBENCH = MachineDescription(name="workbench")


def test_every_feed_is_behind_its_heating_and_every_key_is_its_own() -> None:
    steps = FeedTrial(temperature_c=205).steps
    keys = [step.key for step in steps]
    assert len(set(keys)) == len(keys)
    first_feed = next(i for i, step in enumerate(steps) if isinstance(step, Feed))
    assert any(isinstance(step, Heat) for step in steps[:first_feed])


def test_heaters_go_off_before_the_last_reading_is_asked_for() -> None:
    """A person who measures slowly does not keep a nozzle hot."""
    kinds = [type(step) for step in FeedTrial(temperature_c=205).steps]
    assert kinds[-1] is Read
    assert kinds[-2] is CoolDown


def test_detached_feed_heats_nothing() -> None:
    steps = FeedTrial(detached=True).steps
    assert not any(isinstance(step, Heat | CoolDown) for step in steps)
    assert all(step.detached for step in steps if isinstance(step, Feed))


def test_each_feed_goes_back_to_a_mark_of_its_own_trial() -> None:
    steps = FeedTrial(temperature_c=205, repeats=3).steps
    keys = {step.key for step in steps}
    assert {step.redo_from for step in steps if isinstance(step, Feed)} <= keys


@pytest.mark.parametrize(
    ("options", "named"),
    [
        ({"temperature_c": 300.0}, "260"),
        ({"temperature_c": 205.0, "rate_mm_min": 4000.0}, "mm/min"),
        ({"temperature_c": 205.0, "tool": 1}, "tool 1"),
        ({"temperature_c": 205.0, "length_mm": 2000.0, "marked_mm": 2500.0}, "2000 mm"),
    ],
)
def test_outside_the_machines_limits_is_refused_as_a_whole(
    options: dict[str, float], named: str
) -> None:
    with pytest.raises((RefusedError, InputError), match=named):
        check(build("feed", options), WORKBENCH)


@pytest.mark.parametrize(
    "options",
    [
        {"marked_mm": 100.0, "length_mm": 100.0},
        {"length_mm": -5.0},
        {"repeats": 0},
    ],
)
def test_a_feed_that_leaves_nothing_to_measure_is_no_trial(options: dict[str, float]) -> None:
    with pytest.raises(InputError):
        build("feed", options)


def test_a_hot_feed_without_a_temperature_asks_for_it() -> None:
    with pytest.raises(InputError, match="temperature") as caught:
        listing(build("feed", {}).steps, WORKBENCH)
    assert caught.value.where == "--temperature"


def test_an_unknown_trial_is_named() -> None:
    with pytest.raises(InputError, match="cube"):
        build("cube", {})


@pytest.mark.parametrize(
    "trial",
    [
        FeedTrial(temperature_c=205.0, repeats=2),
        SpanTrial(piece=SpanPiece(pitch_mm=80.0), rounds=2),
    ],
)
def test_rebuilt_from_its_parameters_it_is_the_same_trial(trial: FeedTrial | SpanTrial) -> None:
    again = build(trial.kind, trial.parameters)
    assert again == trial
    assert again.steps == trial.steps


def test_the_listing_says_what_will_be_commanded() -> None:
    text = "\n".join(listing(FeedTrial(temperature_c=205.0).steps, WORKBENCH))
    assert "M104 S205" in text
    assert text.count("G1 E") == 4
    assert "M109" not in text  # a blocking wait would stand before a stop


def test_a_cold_feed_lists_that_the_guard_goes_off_and_on() -> None:
    text = "\n".join(listing(FeedTrial(detached=True).steps, WORKBENCH))
    assert text.count("M302 P1") == text.count("M302 P0") == 4


def test_span_prompts_carry_the_labels_of_the_drawing() -> None:
    trial = SpanTrial()
    labels = [step.place for step in trial.steps if isinstance(step, Read)]
    assert labels == [place.label for place in trial.piece.places()]


def test_what_a_file_refuses_is_asked_again_at_the_prompt() -> None:
    for step in (step for step in SpanTrial().steps if isinstance(step, Read)):
        drawn = step.details["nominal_mm"]
        assert step.details["low"] < drawn < step.details["high"]
        about = {key: step.details[key] for key in ("direction", "faces", "nominal_mm")}
        head, row = ",".join([*about, "reading_mm"]), ",".join(map(str, about.values()))
        for just in (step.details["low"] - 0.5, step.details["high"] + 0.5):
            with pytest.raises(InputError):
                parse_span_table(f"{head}\n{row},{just}\n", name="span.csv")


def test_rates_are_fed_in_rising_order_and_stand_with_their_readings() -> None:
    trial = FeedTrial(temperature_c=205.0, repeats=2, rates_mm_min=(50.0, 120.0))
    feeds = [step.rate_mm_min for step in trial.steps if isinstance(step, Feed)]
    reads = [step.details["rate_mm_min"] for step in trial.steps if isinstance(step, Read)]
    assert feeds == reads == [50.0, 50.0, 120.0, 120.0]
    assert build("feed", trial.parameters) == trial
    with pytest.raises(InputError, match="rise"):
        FeedTrial(temperature_c=205.0, rates_mm_min=(120.0, 50.0))


def test_every_target_of_a_traverse_is_read_from_both_sides_inside_the_travel() -> None:
    trial = TraverseTrial(targets=3, cycles=2)
    reads = [step.details for step in trial.steps if isinstance(step, Read)]
    sides = {(r["target_mm"], r["approach"], r["cycle"]) for r in reads}
    assert len(sides) == len(reads) == 12
    check(trial, WORKBENCH)
    with pytest.raises(RefusedError, match="outside the travel"):
        check(TraverseTrial(start_mm=1.0), WORKBENCH)  # no room for the run-up


def test_a_traverse_comes_to_each_target_from_the_side_it_says() -> None:
    at = None
    for step in TraverseTrial(targets=3, cycles=2).steps:
        if isinstance(step, Move):
            came = None if at is None else step.target_mm - at
            at = step.target_mm
        if isinstance(step, Read):
            assert came is not None and (came > 0) == (step.details["approach"] == "+")


def test_the_bead_piece_is_read_as_drawn_and_weighed_only_with_a_density() -> None:
    plain = build("bead", {})
    places = BeadPiece().places()
    reads = [step for step in plain.steps if isinstance(step, Read)]
    assert [step.place for step in reads] == [place.label for place in places]
    assert [step.details["drawn_width_mm"] for step in reads] == [p.nominal_mm for p in places]
    assert {step.details["band"] for step in reads} == {"1", "2", "3"}
    weighed = build("bead", {"density_g_cm3": 1.24, "rounds": 2})
    assert len(weighed.steps) == 2 + 2 + 2 * len(places)
    assert weighed.spared({}) == weighed.spared({"bead.balance": "skip"}) == {"bead.mass"}
    assert not weighed.spared({"bead.balance": "weigh"})
    assert build("bead", weighed.parameters) == weighed


def test_the_mass_of_the_ring_tells_flow_by_the_filament_that_its_path_feeds() -> None:
    from asleft.pieces import PathSettings, tool_path

    piece = BeadPiece()
    path = tool_path(piece, PathSettings(nozzle_c=210.0, bed_c=60.0))
    trial = build("bead", {"piece": piece, "density_g_cm3": 1.24})
    fed_mm = trial._filament_mm()
    assert fed_mm < path.filament_mm < fed_mm + 6.0  # the path also primes beside the ring
    grams = fed_mm * 3.14159265 / 4 * 1.75**2 / 1000 * 1.24 * 0.94
    entries = [Entry(p.nominal_mm * 0.94 + 0.005, {"drawn_width_mm": p.nominal_mm})
               for p in piece.places()]  # fmt: skip
    found = trial.solve([Entry(grams, {"weighed": True}), *entries], Basis(Instrument(), {}))
    assert found.quantities[0].value == pytest.approx(0.94, abs=0.01)
    caliper_alone = trial.solve(entries, Basis(Instrument(), {})).quantities[0]
    assert found.quantities[0].u < 0.7 * caliper_alone.u


def _tries(trial: FitTrial, turns_mm: float, loose_mm: float) -> dict[str, str]:
    """Answers of bores without scatter, asked in the trial's order."""
    answers: dict[str, str] = {}
    for step in trial.steps:
        if isinstance(step, Choose) and step.key not in trial.spared(answers):
            gap = step.value - trial.piece.gauge_mm
            gap = gap if step.details["kind"] == "bore" else -gap
            answers[step.key] = (
                "refuses" if gap < turns_mm else "turns" if gap < loose_mm else "loose"
            )
    return answers


@pytest.mark.parametrize("parts", ["bores", "pins", "both"])
def test_few_tries_find_both_borders_and_both_neighbours_of_each(parts) -> None:
    trial = FitTrial(FitPiece(gauge_mm=8.0, parts=parts))
    assert build("fit", trial.parameters) == trial
    whole = sum(isinstance(step, Choose) for step in trial.steps)
    for turns_mm in (-0.03, 0.07, 0.12, 0.22, 0.33):
        for play_mm in (0.06, 0.11, 0.3):
            answers = _tries(trial, turns_mm, turns_mm + play_mm)
            assert len(answers) <= whole
            for some in trial._by_kind():
                said = [answers.get(f"fit.{place.label}") for place in some]
                for border in ("refuses", "loose"):
                    _borders_are_tried(said, border)


def _borders_are_tried(said: list[str | None], border: str) -> None:
    """No untried body lies between one that is `border` and one that is not, next to each other."""
    known = [(n, (word == border)) for n, word in enumerate(said) if word]
    for (one, is_one), (other, is_other) in pairwise(known):
        if is_one != is_other:
            assert other == one + 1


def test_the_tries_start_in_the_middle_and_most_are_spared() -> None:
    trial = FitTrial(FitPiece(gauge_mm=8.0, parts="bores"))
    first = next(step for step in trial.steps if isinstance(step, Choose))
    assert first.place == "6" and first.cautions and first.action == "try_fit"
    assert set(first.details) == {"drawn_mm", "kind", "gauge_mm", "label"}
    assert len(_tries(trial, 0.12, 0.5)) <= 7 < len(trial.piece.bores)


def test_a_fit_trial_without_the_persons_part_says_what_is_missing() -> None:
    with pytest.raises(InputError) as refused:
        check(build("fit", {}), WORKBENCH)
    assert refused.value.where == "--gauge"


def test_a_ring_is_asked_for_as_the_files_for_the_machine_have_it() -> None:
    """`asleft piece bead` draws for the described nozzle; prompts and mass must be of that ring."""
    machine = MachineDescription(name="workbench", nozzle_mm=0.6, filament_mm=2.85)
    trial = for_machine("bead", {}, machine)
    assert trial.piece == BeadPiece.for_nozzle(0.6)
    assert trial.filament_diameter_mm == 2.85
    mine = BeadPiece.for_nozzle(0.4, flats_mm=40.0)
    assert for_machine("bead", {"piece": mine}, machine).piece == mine
    assert for_machine("traverse", {}, machine) == TraverseTrial()


@pytest.mark.parametrize("nozzle", [0.2, 0.25, 0.6, 0.8, 1.0])
def test_a_span_piece_is_asked_for_as_the_files_for_the_machine_have_it(nozzle) -> None:
    """A nozzle of 0.6 lays no line of 0.45; the places and their sizes are the same."""
    machine = MachineDescription(name="workbench", nozzle_mm=nozzle)
    bed = {"bed_shape": machine.bed_shape, "travel_mm": machine.travel_mm}
    files = SpanPiece.for_machine(
        pitch_mm=95.0, reach_mm=150.0, **bed, **line_sizes("span", nozzle)
    )
    asked = for_machine("span", {}, machine).piece
    assert asked == files
    assert asked.places() == SpanPiece().places()
    assert for_machine("span", {"piece": SpanPiece().to_dict()}, machine).piece == files
    odd = replace(machine, nozzle_mm=1.8)
    assert for_machine("span", {}, odd).piece == SpanPiece()


def test_the_bodies_of_a_fit_trial_are_laid_out_for_the_bed_and_the_nozzle_at_hand() -> None:
    """Ten bores for a 25 mm shaft stand five in a row by default, and that row is 180 mm long."""
    gauge = FitPiece(gauge_mm=25.0, parts="bores")
    narrow = MachineDescription(name="small", travel_mm=(160.0, 220.0, 150.0), nozzle_mm=0.6)
    assert not fits(gauge, "square", narrow.travel_mm)
    for piece in (gauge, {"gauge_mm": 25.0, "parts": "bores"}):
        laid = for_machine("fit", {"piece": piece}, narrow).piece
        assert fits(laid, "square", narrow.travel_mm)
        assert laid.bores == gauge.bores
        assert laid.line_width_mm == pytest.approx(0.675)
    fine = replace(narrow, nozzle_mm=0.2)
    assert for_machine("fit", {"piece": FitPiece()}, fine).piece.layer_mm == 0.1
    with pytest.raises(InputError) as refused:
        for_machine("fit", {"piece": FitPiece(gauge_mm=90.0)}, narrow)
    assert "would do" in refused.value.hint


@pytest.mark.parametrize(
    ("bed", "travel_mm", "start_mm", "span_mm"),
    [("round", (180.0, 180.0, 200.0), -50.0, 100.0), ("square", (90.0, 90.0, 90.0), 2.0, 86.0)],
)
def test_a_traverse_left_open_lies_inside_the_travel(bed, travel_mm, start_mm, span_mm):
    machine = MachineDescription("case clocks", bed_shape=bed, travel_mm=travel_mm)
    trial = for_machine("traverse", {}, machine)
    check(trial, machine)
    assert (trial.start_mm, trial.span_mm) == (start_mm, span_mm)
    assert for_machine("traverse", {"start_mm": 1.0}, machine).start_mm == 1.0  # one's own wish
