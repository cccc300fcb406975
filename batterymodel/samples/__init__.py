"""Invented connections, discharges, aircraft and a record, all at Saltmarsh Field.

In: a stated model and a seed. Out: the files of `sample_data` (``python -m batterymodel.samples``),
and an invented record. May import `store` and what is left of it.
"""
