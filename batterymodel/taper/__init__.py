"""The taper: from readings to a fit with its full uncertainty.

In: `Readings` and a `Battery`. Out: `signals.Signal` (what is fitted), `fit.TaperFit` (the best
values), `posterior.ChargePosterior` and `charge_bounds.ChargeBounds` (how likely each charge to
return is), `trends` (does the current fall, stand or rise). May import `reference` and what is left
of it.
"""
