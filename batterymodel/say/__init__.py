"""Results and the record as readable text, and the record made ready to be shown.

In: results, forecasts, budgets, the store. Out: text for the terminal, rows and summaries for
pages. May import `store`, `charts` and what is left of them.
"""
