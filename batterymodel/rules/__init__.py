"""The rules: each looks at one connection and says what it found, against which limit.

In: a `case.Case`. Out: `results.Finding` in the words of `wording`, and the outcome. May import
`soc` and what is left of it.
"""
