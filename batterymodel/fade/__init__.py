"""Fade: capacity over the years, and when it falls below its limit.

In: a record of checks (`inputs.check_record`). Out: `forecast.FadeForecast`. The models stand in
`models` and `bends`, all of them as one in `mixture`, how it did so far in `past_forecasts`, what
is read off it in `paths`, a record with all of these in `fitted`, checks that tell no date in
`doubts`. May import `capacity` and what is left of it.
"""
