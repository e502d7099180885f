"""From the history to what to do at the next bake."""

import numpy as np

from petitpied.history.one_oven_reading import one_oven
from petitpied.history.oven_map_reading import check_mapped, read_maps, read_sides
from petitpied.history.store import Store
from petitpied.history.trend_reading import chosen_bakes, outcomes_of
from petitpied.patterns.next_bake import Known, Suggestion, next_bake
from petitpied.patterns.trends.association import Association, associations
from petitpied.patterns.trends.bake_series import SERIES_UNITS
from petitpied.patterns.trends.regressors import regressors, time_of, together
from petitpied.statistics.made_together import units_of

#: chance of permutations and drawn days: fixed, so that the same history gives the same answer
SEED = 20_260_311


def read_next(
    store: Store, oven: str, rack: str | None, measure: str
) -> tuple[tuple[str, ...], tuple[Suggestion, ...]]:
    """Notes of what was left out, and suggestions; errors as `read_maps`."""
    check_mapped(measure)
    bakes = chosen_bakes(store, oven, rack, None)
    one = one_oven(bakes, measure, store.events(oven), rack)
    rng = np.random.default_rng(SEED)
    facts = [b.facts for b in one.bakes]
    logged = regressors(facts)
    found: tuple[Association, ...] = ()
    if measure in SERIES_UNITS:
        found = associations(outcomes_of(one.bakes, [measure], []), logged, units_of(facts), rng)
    known = Known(
        read_maps(one.bakes, measure)[0], read_sides(one.bakes, measure), found,
        together([*logged, time_of(facts)]), facts[-1].turn_deg == 180,
    )  # fmt: skip
    return one.notes, next_bake(known, rng)
