"""What is known beforehand: data by chemistry, temperature, limits, supplies.

In: a battery or a supply (`inputs.records`). Out: numbers, each with its source and tag. Every
physical constant of the package stands here, or beside the one formula that uses it. May import
`inputs` and what is left of it.
"""
