"""`python -m asleft`: the same as the command `asleft`."""

from asleft.cli import main

main()
