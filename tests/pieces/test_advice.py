"""What a refusal of `asleft piece` advises is done, word for word: the command then works."""

from __future__ import annotations

import re

import pytest

from asleft.cli.app import app
from asleft.cli.session import Session
from asleft.errors import InputError

HOT = "--nozzle-temp 205 --bed-temp 60"
# What a hint may say, and the option that follows it; several in one hint are ways of their own.
FOLLOWED = (
    (r"layer of ([\d.]+) mm", "--layer"),
    (r"line width of ([\d.]+) mm", "--line-width"),
    (r"nozzles of .* one of ([\d.]+) mm", "--nozzle"),
    (r"shaft of ([\d.]+) mm", "--gauge"),
    (r"(bores) alone", "--parts"),
    (r"[Ss]teps of ([\d.]+) mm", "--step"),
    (r"([\d.]+) mm over flats", "--flats"),
    (r"pitch of ([\d.]+) mm", "--pitch"),
    (r"at least ([\d.]+) mm apart", "--pitch"),
    (r"reaches ([\d.]+) mm", "--reach"),
    (r"room for (\d+) letters", "--mark"),
    (r"bed of (\d+) by (\d+) mm", "--bed"),
    (r"round bed of (\d+) mm", "--bed-round"),
    (r"^A Z travel of (\d+) mm", "Z"),
)


def refusal(arguments, tmp_path):
    """Why a command is refused; None where it works."""
    words = ["piece", *arguments, "--out", str(tmp_path / "p"), "--force"]
    try:
        app.main(words, prog_name="asleft", standalone_mode=False, obj=Session(json_asked=True))
    except InputError as error:
        return error
    return None


def followed(arguments, option, found):
    """The command as advised."""
    value = found[1]
    bed = next((n for n, word in enumerate(arguments) if word in ("--bed", "--bed-round")), None)
    high = arguments[bed + 1].rsplit(",", 1)[1] if bed is not None else "250"
    if option == "Z":
        sizes = arguments[bed + 1].rsplit(",", 1)[0]
        return [*arguments[: bed + 1], f"{sizes},{value}", *arguments[bed + 2 :]]
    if option == "--mark":
        value = "A" * int(value)
    if option.startswith("--bed"):
        value = f"{','.join(found.groups())},{high}"
    return [*arguments, option, value]


@pytest.mark.parametrize(
    "line",
    [
        "span --layer 0.29",
        "span --layer 0.03",
        "span --line-width 3",
        "span --line-width 0.8 --layer 0.7",
        "span --nozzle 0.6 --layer 0.45",
        "span --nozzle 5",
        "span --nozzle 0.01",
        "span --pitch 20",
        "span --pitch 160 --bed 220,220,250",
        "span --bed 60,50,200",
        "span --bed-round 60,200",
        "span --bed 200,200,17",
        "span --reach 50",
        "span --mark " + "B" * 30,
        f"bead --layer 0.15 {HOT}",
        f"bead --layer 0.4 {HOT}",
        "bead --nozzle 0.8 --layer 0.1",
        "bead --nozzle 3",
        "bead --flats 10",
        "bead --bed 40,60,100",
        "bead --bed-round 50,100",
        "bead --bed 100,100,20",
        "bead --flats 500",
        "fit --gauge 8 --parts pins --layer 0.18",
        "fit --gauge 8 --parts pins --nozzle 0.2 --layer 0.2",
        "fit --gauge 3 --parts pins --step 1",
        "fit --gauge 0.5 --parts pins",
        "fit --gauge 20 --bed 130,130,100",
        "fit --gauge 8 --parts pins --bed 120,120,10",
        "fit --gauge 25 --parts pins --bed-round 110,100",
    ],
)
def test_whoever_does_as_advised_is_not_refused_again(line, tmp_path):
    arguments = line.split()
    error = refusal(arguments, tmp_path)
    assert error is not None and error.hint
    ways = [(o, m) for pattern, o in FOLLOWED if (m := re.search(pattern, error.hint))]
    assert ways, error.hint
    for option, found in ways:
        again = followed(arguments, option, found)
        refused = refusal(again, tmp_path)
        assert refused is None, (error.hint, again, refused and refused.hint)


def test_temperatures_and_filament_at_the_bounds_named_are_taken(tmp_path):
    for option, wrong in (("--nozzle-temp", "400"), ("--bed-temp", "200"), ("--filament-mm", "9")):
        error = refusal(["bead", *HOT.split(), option, wrong], tmp_path)
        bounds = re.findall(r"[\d.]*\d", error.hint)
        assert len(bounds) == 2
        for bound in bounds:
            assert refusal(["bead", *HOT.split(), option, bound], tmp_path) is None


@pytest.mark.parametrize("nozzle", ["0.2", "0.25", "0.3", "0.4", "0.5", "0.6", "0.8", "1.0"])
def test_every_piece_has_defaults_for_every_usual_nozzle(nozzle, tmp_path):
    """Bores of the nozzles sold: common practice, no source.

    Line and layer are checked with a path and without; a ring's path takes least time.
    """
    for piece in ("span --no-column --pitch 60", f"bead {HOT}", "fit --gauge 8 --parts pins"):
        assert refusal([*piece.split(), "--nozzle", nozzle], tmp_path) is None
    thick = nozzle == "1.0"
    for piece in ("span --no-column --pitch 45", "fit --gauge 8 --parts pins") if thick else ():
        assert refusal([*piece.split(), "--nozzle", nozzle, *HOT.split()], tmp_path) is None
