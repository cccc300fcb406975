"""Charts: results as pictures, each a specification that page and sheet share.

In: an `Assessment`, a `CapacityResult`, a `FadeForecast`, a `Budget`, capacity checks. Out: Altair
charts, and a small line as SVG. May import `budget` and what is left of it.
"""
