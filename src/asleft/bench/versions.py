"""What made a record: our version, and the versions of what its numbers depend on.

Goes into each calibration and its record, so that a number can be traced to the program that
worked it out. Not for asking what is installed otherwise.
"""

from __future__ import annotations

import platform
from typing import Any

import asleft


def versions() -> dict[str, Any]:
    """Versions by name, and the system's name; JSON values."""
    import numpy as np

    return {
        "asleft": asleft.__version__,
        "python": platform.python_version(),
        "numpy": np.__version__,
        "system": platform.system(),
    }
