"""What every test may rely on: programs of the system named, and never skipped in CI."""

from __future__ import annotations

import os
import shutil
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

# Debian keeps the database server's programs out of the path; the newest stands last.
for _folder in sorted(Path("/usr/lib/postgresql").glob("*/bin")):
    os.environ["PATH"] = f"{_folder}{os.pathsep}{os.environ['PATH']}"

# Whoever starts the tests in the background may have them ignore these; the programs that the
# tests start would inherit that, and a stop would not be heard.
for _name in ("SIGHUP", "SIGINT"):
    _signal = getattr(signal, _name, None)  # no SIGHUP on Windows
    if _signal is not None and signal.getsignal(_signal) is signal.SIG_IGN:
        signal.signal(_signal, signal.SIG_DFL)


@pytest.fixture(scope="session", autouse=True)
def own_runtime_folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Locks and notes of hot machines are this run's own: ports are used again, notes stay."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_RUNTIME_DIR", str(tmp_path_factory.mktemp("runtime")))
        yield


def pytest_runtest_setup(item: pytest.Item) -> None:
    """A test marked `system("pdftotext")` needs that program; CI may not skip it."""
    for marker in item.iter_markers("system"):
        for program in marker.args:
            if shutil.which(program) is None:
                if os.environ.get("ASLEFT_REQUIRE_SYSTEM"):
                    pytest.fail(f"{program} is not installed, and this run may not skip it")
                pytest.skip(f"needs {program}")
