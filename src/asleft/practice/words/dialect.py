"""How a family of controllers speaks: data, not behaviour, so that a family is no subclass.

What varies is how a board acknowledges, asks again, refuses, reports and stores; shapes of lines
from memory, common practice, no source. Not for what its drive is; `telling` makes the lines.
Stands on nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Dialect:
    """One family.

    Wording: `note` stands before notes and settings, `unknown` (with `{}` for the command, or
    empty) answers what is not known, `start` is the banner's first line, `line_end` ends lines.
    Acknowledging: `counts` puts line number and free places behind `ok`, `behind_ok` are codes
    whose one-line answer stands there too, `idles` says `wait` each second.
    Asking again: `resend` names the line, `resend_ok` acknowledges behind it, `drops` loses the
    lines in flight behind it without a word. `numbering` is `asked` (lines without number are
    taken), `strict` (refused) or `ignored`.
    Reporting: `report` is what M503 gives; `steps` how steps stand there or in the answer to M92;
    `decimals` of them, None as each setting's own; `trims` drops zeros at the end; `old_values`
    repeats former values as comment; `inches` is in force after power on. `identity` is the form
    of M115.
    Keeping: `storage` in memory, in none, or in a `file` that only hands can change; `says_stored`
    is False where an ok is all; `reload_tells` is what M501 prints.
    """

    note: str = "echo:"
    unknown: str = 'echo:Unknown command: "{}"'
    start: str = "start"
    line_end: str = "\n"

    counts: bool = False
    behind_ok: frozenset[str] = frozenset({"M105"})
    idles: bool = False

    resend: str = "Resend: {}"
    resend_ok: bool = True
    drops: bool = True
    numbering: Literal["asked", "strict", "ignored"] = "asked"

    report: Literal["settings", "unknown", "file"] = "settings"
    steps: Literal["line", "per-tool", "colon-list", "labelled"] = "line"
    decimals: int | None = None
    trims: bool = False
    old_values: bool = False
    inches: bool = False
    identity: Literal["lines", "commas"] = "lines"

    storage: Literal["memory", "none", "file"] = "memory"
    says_stored: bool = True
    reload_tells: Literal["line", "report", "nothing"] = "line"

    tools: int = 1

    def worded(self, line: str) -> str:
        """A line in this family's wording: notes are made with `echo:` and worded here."""
        bare = line.removeprefix("echo:")
        return self.note + bare if bare != line else line


PLAIN = Dialect()
BARE = Dialect(
    note="",
    unknown='// Unknown command: "{}"',
    start="// start",
    resend="rs N{}",
    resend_ok=False,
    drops=False,
    decimals=6,
    trims=True,
    old_values=True,
    behind_ok=frozenset({"M105", "M115"}),
    says_stored=False,
    reload_tells="nothing",
)
PER_TOOL = Dialect(
    start="echo:start",
    counts=True,
    steps="per-tool",
    identity="commas",
    resend="Resend:{}",
    reload_tells="report",
    tools=2,
)
COLON_LIST = Dialect(
    note="",
    unknown="",
    line_end="\r\n",
    steps="colon-list",
    decimals=3,
    behind_ok=frozenset({"M105", "M114", "M115", "M27", "M92"}),
    tools=2,
)
M92_ONLY = Dialect(
    unknown="error: unsupported",
    report="unknown",
    steps="labelled",
    decimals=3,
    numbering="strict",
    resend="rs {}",
    idles=True,
    behind_ok=frozenset(),
)
INCHES = Dialect(inches=True, decimals=3, identity="commas")
FILE = Dialect(
    note="// ",
    report="file",
    storage="file",
    unknown='// Unknown command: "{}"',
)
NO_STORAGE = Dialect(numbering="ignored", storage="none")
