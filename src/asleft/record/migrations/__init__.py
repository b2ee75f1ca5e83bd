"""How a store of an earlier version becomes one of this version, step by step.

Packaged, run by `engine.open_engine` alone, each run in one transaction. A step is frozen once it
was released: it builds tables by itself and never from `schema`, which tells today's form.
"""
