"""Changes of deciding values that some test must notice; see `tests.mutations`.

Texts are whole where they can be, so that a value is replaced and not its namesake.
"""

from tests.mutation_list import charge, fading, judging, kinds, power, starts, track, years
from tests.mutation_list.mutation import Mutation

MUTATIONS = (
    *judging.ALL,
    *charge.ALL,
    *kinds.ALL,
    *power.ALL,
    *starts.ALL,
    *track.ALL,
    *years.ALL,
    *fading.ALL,
)

__all__ = ["MUTATIONS", "Mutation"]
