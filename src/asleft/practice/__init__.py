"""The practice machine: a simulated printer on a real byte stream, with a person beside it.

Runs as a process of its own (`python -m asleft.practice`); `Hands` starts one and asks for what a
person's hands do. Shares no code with what is judged by it.
"""

from asleft.practice.hands import Hands

__all__ = ["Hands"]
