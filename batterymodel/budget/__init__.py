"""The ground power budget: what a task takes of a supply, and what must be left off.

In: `inputs.load_plan.AircraftLoads`, a `Supply`, the battery's present draw, readings. Out: a
`results.Budget`. `capability` says what the supply can give, `demand` what consumers take,
`selection` what is left off, `starts` what motors do to the bus (`peaks`), `alone` how long the
battery would last without (`endurance`), `learned` what load steps teach (`learning`,
`resistance`); `plan` puts it together. May import `fade`, the assessment and what is left of them.
"""
