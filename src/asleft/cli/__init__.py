"""The command line: the terminal face. The only door of this room is `main`.

Holds no rule of the trade and computes nothing: it reads what was typed, calls the rooms
below, and says in plain words what came back. Stands on everything; nothing stands on it.
"""

import sys


def main() -> None:
    """Run the command line and leave with its exit status (see `errors` for the tree)."""
    from asleft.cli.app import run

    sys.exit(run(sys.argv[1:]))
