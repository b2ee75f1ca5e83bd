"""The one error of the room: hands cannot do what was asked of them.

Not for what a controller answers: that goes over the wire. Stands on nothing.
"""

from __future__ import annotations


class CannotError(Exception):
    """Hands cannot do that now; the text says why."""
