"""The owner's sheet: what it says, and how it is laid out.

In: an assessment, a forecast and a battery, from files or from the record (`case`). Out: sections
of sentences (`sections`, `content`), and a PDF. May import `say` and what is left of it.
"""
