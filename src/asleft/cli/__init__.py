"""The command line: the only door of this room is `main`."""


def main() -> None:
    """Run the command line."""
