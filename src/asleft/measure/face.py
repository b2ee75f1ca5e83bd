"""How much one printed face differs from the next, before anything of it was measured.

One prior for all estimates: the posts of a span piece, the bores of a fit piece, the next part.
Knows no reading and no trial.
"""

from __future__ import annotations

import math

FACE_SD_MM = 0.02  # one printed face against the next, typically; ours
# Of the logarithm of that: a factor of 2 either way, what one degree of freedom tells (the
# logarithm of a variance then has a standard deviation of about the root of 2).
FACE_LOG_SD = math.sqrt(2.0) / 2
