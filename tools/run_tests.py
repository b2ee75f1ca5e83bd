"""Set up an environment, build and install the wheel, and run the tests on it.

Plain standard library, so that it runs before anything is installed. What the tests need of
the system (PDF tools, a browser) is installed by the package manager where that is allowed; else it
says so and those tests are skipped; with ASLEFT_REQUIRE_SYSTEM=1 a skip there is a failure.
Further arguments go to pytest. Not for lint and types: `run_checks.py` adds them.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
PYTHON = VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")

# Program the tests look for: Debian package that brings it.
SYSTEM = {
    "pdftotext": "poppler-utils",
    "pdftoppm": "poppler-utils",
    "initdb": "postgresql",
    "chromium": "chromium",
}


def run(*command: str | Path) -> None:
    """Run one command, shown first; end with its status when it fails."""
    words = [str(word) for word in command]
    print("+", *words, flush=True)
    done = subprocess.run(words, cwd=ROOT, check=False)
    if done.returncode:
        sys.exit(done.returncode)


def missing_packages() -> list[str]:
    """The packages whose programs are not here; a database server's stand out of the path."""
    servers = [str(folder) for folder in Path("/usr/lib/postgresql").glob("*/bin")]
    where = os.pathsep.join([os.environ.get("PATH", ""), *servers])
    found = {program: shutil.which(program, path=where) for program in SYSTEM}
    return sorted({SYSTEM[program] for program, path in found.items() if path is None})


def install_system_programs() -> None:
    """Install what the tests need of the system, where we may; else say what is missing."""
    missing = missing_packages()
    if not missing:
        return
    may = shutil.which("apt-get") and hasattr(os, "geteuid") and os.geteuid() == 0
    if may:
        environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
        for command in (["update"], ["install", "-y", *missing]):
            subprocess.run(["apt-get", "-qq", *command], env=environment, check=False)
    missing = missing_packages()
    if missing:
        print(
            "Not installed: " + ", ".join(missing) + ". The tests that need it are skipped;"
            " install it with your package manager to run them.",
            flush=True,
        )


def install_package(extras: str) -> None:
    """Make the environment, build the wheel and install it with its extras."""
    if not PYTHON.exists():
        run(sys.executable, "-m", "venv", VENV)
    pip = (PYTHON, "-m", "pip", "--disable-pip-version-check", "-q", "install")
    run(*pip, "-c", "constraints.txt", "build", "hatchling")
    shutil.rmtree(ROOT / "dist", ignore_errors=True)
    run(PYTHON, "-m", "build", "--wheel", "--no-isolation", "--outdir", "dist", ".")
    wheel = next((ROOT / "dist").glob("asleft-*.whl"))
    run(*pip, "-c", "constraints.txt", f"{wheel}[{extras}]")
    run(*pip, "--force-reinstall", "--no-deps", wheel)


def test(arguments: list[str]) -> None:
    """Run the tests on the installed wheel."""
    # Browser tests stay together in one process: two browsers at once would only slow each other.
    run(PYTHON, "-m", "pytest", "-q", "-n", "2", "--dist", "loadgroup", *arguments)


def main(arguments: list[str]) -> None:
    """Set up and test."""
    install_system_programs()
    install_package("test")
    test(arguments)


if __name__ == "__main__":
    main(sys.argv[1:])
