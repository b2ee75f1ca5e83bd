"""What every test may rely on: programs of the system named, and never skipped in CI."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

# Debian keeps the database server's programs out of the path; the newest stands last.
for _folder in sorted(Path("/usr/lib/postgresql").glob("*/bin")):
    os.environ["PATH"] = f"{_folder}{os.pathsep}{os.environ['PATH']}"


def pytest_runtest_setup(item: pytest.Item) -> None:
    """A test marked `system("pdftotext")` needs that program; CI may not skip it."""
    for marker in item.iter_markers("system"):
        for program in marker.args:
            if shutil.which(program) is None:
                if os.environ.get("ASLEFT_REQUIRE_SYSTEM"):
                    pytest.fail(f"{program} is not installed, and this run may not skip it")
                pytest.skip(f"needs {program}")
