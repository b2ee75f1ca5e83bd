"""The steps, one file a revision, in the order of `schema.REVISIONS`.

A released step is never edited: stores that were built by it exist.
"""
