"""One store shared by several laptops: writers at once, a server killed, a network cut at a commit.

`python -m benchmarks.sharing` runs all of it on a real server started here; see `__main__`.
"""
