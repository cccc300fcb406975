"""Simulated batteries, sound and sick, with known truth: what a tool that judges them is tried on.

In: a half of the seeds and a number per family. Out: `Case`, what `batterymodel.assess` is given
beside what is true. Plans (`plan`, `draw`, and the families in `sound`, `mistakes`, `sick`,
`combined`) say what is to be simulated, `laws` and `circuit` work out the currents, `bus` and
`meter` what is read, `truth` what would be wrong to say, `cases` puts it together, `scores` counts.
`tapers` reads three measured tapers. Nothing here knows how the tool estimates: it may import the
public names of `batterymodel` and nothing else of it.
"""
