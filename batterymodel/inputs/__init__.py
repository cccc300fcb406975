"""What is told: batteries, supplies, readings, discharge logs, records of checks.

In: TOML, CSV and tables as people write them. Out: checked, immutable records (`records`), or one
sentence that says what is wrong and where. May import `errors` and `basis`.
"""
