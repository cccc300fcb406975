"""Fade: capacity over the years, and when it falls below its limit.

In: a record of checks (`inputs.check_record`). Out: `forecast.FadeForecast`. The models stand in
`models` and `bends`, the choice between them in `selection`, what is read off them in `paths`. May
import `capacity` and what is left of it.
"""
