"""The reference names everything that a person or a program may meet: nothing may be missing.

Walks the commands, the error tree, the readings files and the JSON that commands really print. What
is missing is shown. Run as a program, this file writes the section of the commands anew.
"""

from __future__ import annotations

import ast
import json
import re
import textwrap
from collections.abc import Iterator
from pathlib import Path
from typing import get_args

import click
import pytest

import asleft
from asleft import errors, measure, units
from asleft.bench.years.events import EVENTS, FINDINGS
from asleft.cli.app import app
from asleft.cli.practice_words import WORDS
from asleft.cli.trying import OUTCOMES
from asleft.measure import Verdict
from asleft.practice.hands import Hands
from asleft.record.schema import CHANGE_KINDS, CHANGE_STATES, STANDINGS

FIRST, NEXT = "## Commands\n\n", "\n## Files\n"
MADE = {"Quantity": "name", "Proposal": "setting", "proposal_of": "setting"}
SHARED = {"--home", "--shared-store", "--person", "--machine", "--json", "--help", "--version"}
# Objects whose keys are data: axes, planes, letters of a code, kinds of file.
OPEN = {
    *("steps_per_mm", "skew", "delta", "values", "before", "read_back", "from_storage"),
    *("in_force", "geometry", "geometry_steps_per_mm", "hidden", "residual", "files", "gives_mm"),
    *("opened", "written", "as_found", "as_left"),
}


@pytest.fixture
def reference(docs) -> str:
    return (docs / "reference.md").read_text(encoding="utf-8")


def sections(text: str) -> dict[str, str]:
    """Each heading's text (without its marks) with what stands below it up to the next heading."""
    parts = re.split(r"^#+ (.+)$", text, flags=re.MULTILINE)
    return {title.strip("` "): body for title, body in zip(parts[1::2], parts[2::2], strict=True)}


def marked(text: str) -> set[str]:
    """Every word that stands in code marks."""
    return set(re.findall(r"[\w.+/-]+", " ".join(re.findall(r"`([^`]+)`", text))))


def commands() -> Iterator[tuple[str, click.Command, click.Context]]:
    """Every command that can be run, by its full name."""

    def below(group: click.Group, context: click.Context, name: str):
        for word in group.list_commands(context):
            command = group.get_command(context, word)
            inner = click.Context(command, parent=context, info_name=word)
            if isinstance(command, click.Group):
                yield from below(command, inner, f"{name} {word}")
            else:
                yield f"{name} {word}", command, inner

    yield from below(app, click.Context(app, info_name="asleft"), "asleft")


def option_lines(command: click.Command, context: click.Context) -> Iterator[str]:
    """What the reference says of a command's arguments and own options, a line each."""
    for param in command.get_params(context):
        if isinstance(param, click.Argument):
            yield f"- `{param.make_metavar(context)}`"
        elif not SHARED & set(param.opts):
            first, text = param.get_help_record(context)
            yield f"- `{first}`: {' '.join(text.split())}".removesuffix(": ")


def commands_section() -> str:
    """All commands as the program explains them, between two headings of the reference."""
    parts = []
    for name, command, context in commands():
        said = " ".join((command.help or "").replace("\b", " ").split())
        lines = [f"### `{name}`", "", *textwrap.wrap(said, 100, break_on_hyphens=False), ""]
        lines += [*option_lines(command, context), ""]
        if name == "asleft practice":
            lines += [
                "Without `--unattended` it is served, its address comes first, and typed words"
            ]
            lines += [
                "are its owner's hands:",
                "",
                *(f"- `{word}`: {what}" for word, what in WORDS),
                "",
            ]
        parts.append("\n".join(lines).rstrip() + "\n")
    return "\n".join(parts).replace("\n\n\n", "\n\n")


def split(text: str) -> tuple[str, str, str]:
    """The reference before, in, and behind its section of commands."""
    before, behind = text.split(FIRST, 1)
    commands_text, behind = behind.split(NEXT, 1)
    return before + FIRST, commands_text, NEXT + behind


def test_every_command_and_option_stands_in_it(reference):
    _, told, _ = split(reference)
    assert told == commands_section(), f"python {Path(__file__).name} writes it anew"
    everywhere = marked(sections(reference)["Options everywhere"])
    assert everywhere >= SHARED


def every_error() -> set[type[errors.AsleftError]]:
    """The tree of errors, with those that other rooms add to it."""

    def below(kind: type[errors.AsleftError]) -> Iterator[type[errors.AsleftError]]:
        for each in kind.__subclasses__():
            yield each
            yield from below(each)

    return set(below(errors.AsleftError))


def test_every_error_kind_and_exit_status_stands_in_it(reference):
    told = sections(reference)
    for error in every_error():
        named = error.__name__ if error.__module__ == errors.__name__ else r"\w+"
        row = rf"\| `{error.kind}` \| `{named}` \| {error.exit_status} \|"
        assert re.search(row, told["Errors"]), error
    statuses = {error.exit_status for error in every_error()} | {0, 1}
    assert statuses == {int(n) for n in re.findall(r"^\| (\d+) \|", told["Exit status"], re.M)}


def test_every_variable_of_the_environment_that_is_looked_at_stands_in_it(reference):
    looked_at = set()
    for path in Path(asleft.__file__).parent.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        looked_at |= set(re.findall(r"environ(?:\.get\(|\[)[\"'](\w+)", text))
        assert len(re.findall(r"getenv|environ(?!\.get\([\"']|\[[\"'])", text)) == 0, path
    told = re.findall(r"`(\w+)(?:=\w+)?`", sections(reference)["Environment"])
    assert "ASLEFT_HOME" in looked_at
    assert looked_at <= set(told)


def test_every_event_stands_in_it_with_what_it_undoes(reference):
    told = sections(reference)["Events"]
    for name, event in EVENTS.items():
        undoes = " ".join(f"`{group}`" for group in event.undoes) or "nothing"
        assert f"| `{name}` | {event.words} | {undoes} |" in told
    assert {group for groups in FINDINGS.values() for group in groups} <= marked(told)


def test_every_verdict_setting_and_name_stands_in_it(reference):
    told = sections(reference)
    assert set(get_args(Verdict)) <= marked(told["Verdicts"])
    settings = {*units.LINEAR_AXES, *units.SKEW_PLANES, "E", "E0", "L", "R"}
    assert settings <= marked(told["Names of settings"])

    assert set(OUTCOMES) <= marked(told["asleft.trial/1"])
    assert {*STANDINGS, *CHANGE_KINDS, *CHANGE_STATES} <= marked(told["asleft.record/1"])


def test_every_quantity_and_proposal_stands_in_it(reference):
    named = set()
    for path in Path(measure.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") in MADE:
                first = [
                    *node.args[:1],
                    *(k.value for k in node.keywords if k.arg in MADE.values()),
                ]
                named |= {word.value for word in first if isinstance(word, ast.Constant)}
    assert len(named) > 5
    assert named <= marked(sections(reference)["asleft.solve/1"])


def test_every_readings_file_in_it_is_read(page):
    shown = [block for block in page("reference.md") if block.info == "csv"]
    parsed = set()
    for block in shown:
        trial = block.lines[0].removeprefix("# ")
        parser = getattr(measure, f"parse_{trial}_table", None)
        if parser is not None:
            assert parser(block.text, name=trial)
            parsed.add(parser.__name__)
    assert parsed == {name for name in measure.__all__ if name.startswith("parse_")}


def schemas_in_the_program() -> dict[str, set[str]]:
    """Every schema that is written anywhere in the package, with its keys where they stand."""
    found: dict[str, set[str]] = {}
    for path in Path(asleft.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Dict):
                continue
            keys = [k.value for k in node.keys if isinstance(k, ast.Constant)]
            if "schema" in keys:
                value = next(
                    v
                    for k, v in zip(node.keys, node.values, strict=True)
                    if isinstance(k, ast.Constant) and k.value == "schema"
                )
                if isinstance(value, ast.Constant) and isinstance(value.value, str):
                    found.setdefault(value.value, set()).update(map(str, keys))
    return found


def keys_of(value: object) -> set[str]:
    """All keys of a document, at any depth, but those that are data."""
    if isinstance(value, list):
        return set().union(*map(keys_of, value))
    if not isinstance(value, dict):
        return set()
    below = [keys_of(inner) for key, inner in value.items() if key not in OPEN]
    return set(value) | set().union(*below)


def check_keys(schema: str, keys: set[str], told: dict[str, str]) -> list[str]:
    """Keys that neither the schema's section tells nor one that it refers to."""
    if schema not in told:
        return [f"### `{schema}`"]
    known = marked(told[schema])
    for other in known & set(told):
        known |= marked(told[other])
    return [f"{schema}: `{key}`" for key in sorted(keys - known - {"schema"})]


def test_every_schema_in_the_program_stands_in_it(reference):
    told = sections(reference)
    found = schemas_in_the_program()
    assert len(found) > 5
    missing = [line for name, keys in found.items() for line in check_keys(name, keys, told)]
    assert not missing, "\n".join(missing)


@pytest.fixture
def run(shell, page):
    """Run `asleft … --json` in a folder with the tutorial's files; the document it printed."""
    for block in page("tutorial.md"):
        if block.info in ("csv", "text"):
            shell.keep(block)

    def one(*words: str) -> dict[str, object]:
        _, out, err = shell(*words, "--json")
        document = json.loads(out or err.splitlines()[-1])
        assert isinstance(document, dict)
        return document

    return one


PAPER = """
machine describe regulator --bed 220,220,240
instrument describe caliper
instrument check caliper 100 100.01 100 --length 100 --u 0.003
found --report report.txt
solve span span.csv --steps X=80,Y=80
trial feed --readings feed.csv --temperature 205
trial span --readings span.csv --no-column --making cases
set --from-findings
record
history
plan span
allow hole 8 --scale-percent 0.1 --scale-u 0.02 --growth 0.1 --growth-u 0.03
piece span --out pieces
"""


def test_every_key_that_is_printed_on_paper_stands_in_it(reference, run):
    told, missing, seen = sections(reference), [], set()
    for line in PAPER.strip().splitlines():
        document = run(*line.split())
        schema = str(document["schema"])
        seen.add(schema)
        missing += check_keys(schema, keys_of(document), told)
    assert {"asleft.record/1", "asleft.solve/1", "asleft.piece/1"} <= seen
    assert not missing, "\n".join(dict.fromkeys(missing))


def test_every_key_that_is_printed_at_a_machine_stands_in_it(reference, run):
    told, missing = sections(reference), []
    with Hands(12, speed=2000) as hands:
        for line in ("set E=97.4 --store --yes", "prove --power-cycled"):
            document = run(*line.split(), "--port", hands.address)
            assert document["schema"] == f"asleft.{line.split()[0]}/1", document
            missing += check_keys(str(document["schema"]), keys_of(document), told)
        missing += check_keys("asleft.record/1", keys_of(run("record")), told)
    assert not missing, "\n".join(dict.fromkeys(missing))


if __name__ == "__main__":
    page = Path(__file__).resolve().parents[2] / "docs" / "reference.md"
    before, _, behind = split(page.read_text(encoding="utf-8"))
    page.write_text(before + commands_section() + behind, encoding="utf-8")
