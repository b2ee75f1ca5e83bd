"""Measures the page from outside: its speed, its doors, its memory, and an evening by keyboard.

    python -m benchmarks.page [NAME ...] [--few]

Every check starts servers and practice machines of its own, and ends them.
"""
