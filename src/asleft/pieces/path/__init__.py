"""The tool path of a piece: our own planner from parameters to plain codes.

The one door of this sub-package. Not for drawing and not for sending. Stands on the pieces, on
numpy and on the library for sections.
"""

from asleft.pieces.path.plan import ToolPath, tool_path
from asleft.pieces.path.settings import Origin, PathSettings

__all__ = ["Origin", "PathSettings", "ToolPath", "tool_path"]
