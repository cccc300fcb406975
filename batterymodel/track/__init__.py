"""The track record: answers as they were given, and how right they turned out.

In: assessments, and what was seen later. Out: `answers.KeptAnswer`, cases scored (`score`), and how
much the ranges of later answers are widened (`conformal`). May import `assessment` and what is left
of it.
"""
