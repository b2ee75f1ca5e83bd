"""The campaign of wire faults: what a bad line and a bad board make the program believe.

One process holds the practice controller, the owner's session and the bench; time is the loop's own
and passes only when nothing is left to do, so time-outs are the real ones and a case takes a
fraction of a second. Not for speed, and not for the border between processes.
"""
