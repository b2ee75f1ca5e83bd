"""All checks in one command: lint, format, types, import contracts, then the tests.

What a change must pass before it is handed in. `--no-tests` leaves the tests out; further
arguments go to pytest.
"""

from __future__ import annotations

import sys

import run_tests


def main(arguments: list[str]) -> None:
    """Run every check, the cheapest first."""
    run_tests.install_system_programs()
    run_tests.install_package("test,dev")
    python = run_tests.PYTHON
    run_tests.run(python, "-m", "ruff", "check", ".")
    run_tests.run(python, "-m", "ruff", "format", "--check", ".")
    run_tests.run(python, "-m", "mypy")
    # Nothing is run on Windows; at least nothing is called that is not there.
    run_tests.run(python, "-m", "mypy", "--platform", "win32", "--no-warn-unreachable")
    run_tests.run(python.parent / "lint-imports")
    if "--no-tests" not in arguments:
        run_tests.test(arguments)


if __name__ == "__main__":
    main(sys.argv[1:])
