"""Capacity: a bench discharge brought to percent of rated, and what service tells of it.

In: a discharge log, or a completed taper with two rest voltages. Out: `check.CapacityResult`,
`in_service.InServiceCapacity`. May import `rules` and what is left of it.
"""
