"""State of charge: evidence, its combination, and what a completed taper teaches.

In: the likelihood of the charge to return (`taper`), rest voltage, last known state. Out:
`combination.ChargeState`, and a `History` (`learning`). May import `taper` and what is left of it.
"""
