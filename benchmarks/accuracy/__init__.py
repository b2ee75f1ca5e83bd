"""Accuracy of the estimates, measured on simulated machines and written to a page.

Run `python -m benchmarks.accuracy --seed 1 --out docs/accuracy.md`. Not part of the package:
the machines here share no code with the solvers that they judge.
"""

import os

# Before numpy is loaded: small matrices lose by being shared among threads, and times would
# tell of the other things that the machine does.
for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")
