"""Accuracy of the estimates, measured on simulated machines and written to a page.

Run `python -m benchmarks.accuracy --seed 1 --out docs/accuracy.md`. Not part of the package:
the machines here share no code with the solvers that they judge.
"""
