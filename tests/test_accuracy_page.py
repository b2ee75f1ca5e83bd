"""The page of accuracy is made by one command, and what lies in docs was made by it.

A few machines only: whether the figures meet their aims is told by the full run, not here.
"""

import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]


def test_the_page_is_made_by_one_command(tmp_path: Path) -> None:
    out = tmp_path / "accuracy.md"
    command = [sys.executable, "-m", "benchmarks.accuracy", "--quick", "--seed", "3"]
    command += ["--date", "2001-02-03", "--out", str(out)]
    subprocess.run(command, cwd=ROOT, check=True, capture_output=True, timeout=50)
    made = out.read_text(encoding="utf-8")
    assert "Made on 2001-02-03" in made
    assert "seed 3" in made
    for end in ("coverage", "bound"):
        assert f"accuracy-{end}.svg" in made
        assert (tmp_path / f"accuracy-{end}.svg").read_text(encoding="utf-8").startswith("<svg")
    kept = (ROOT / "docs" / "accuracy.md").read_text(encoding="utf-8")
    assert _skeleton(kept) == _skeleton(made)
    machines = re.search(r"\((\d+) machines a row", kept)
    assert machines is not None
    assert int(machines[1]) >= 2000


def _skeleton(page: str) -> list[str]:
    """Headings and the figures with an aim, without their numbers."""
    section, found = "", []
    for line in page.splitlines():
        if line.startswith("#"):
            section = line
            found.append(line)
        elif section.startswith("## Figures") and line.startswith("|"):
            found.append(line.split("|")[1].strip())
    return found
