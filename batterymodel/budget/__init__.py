"""The ground power budget: what a task takes of a supply, and what must be left off.

In: `inputs.load_plan.AircraftLoads`, a `Supply`, the battery's present draw. Out: a
`results.Budget`. `capability` says what the supply can give, `demand` what consumers take,
`selection` what is left off; `plan` puts it together. `peaks` follows a motor's start, with
`resistance` of battery and supply; `endurance` the task on the battery alone; `learning` what load
steps teach of the consumers. May import `fade`, the assessment and what is left of them.
"""
