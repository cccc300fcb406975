"""Plain words for an owner, with figures that move.

In: choices of the reader. Out: curves (`effects`), charts, and words. May import `charts` and what
is left of it.
"""
