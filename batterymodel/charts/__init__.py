"""Charts: results as pictures, each a specification that page and sheet share.

In: an `Assessment`, a `CapacityResult`, a `FadeForecast`. Out: Altair charts. May import
`fade`, the assessment and what is left of them.
"""
