"""Is the process steady, and did a change change it? One series of bakes, its charts, signals."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from petitpied.patterns.trends import control_charts as charts
from petitpied.patterns.trends.bake_series import BakeSeries
from petitpied.patterns.trends.change import Change, change
from petitpied.patterns.trends.control_charts import Chart
from petitpied.patterns.trends.run_rules import Signal, nelson, only_limits, western_electric

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

Of = Literal["mean", "spread", "share"]
ChartName = Literal["individuals", "xbar-s", "ewma"]
Rules = Literal["western-electric", "nelson"]

LIMITS = "limits"
#: mean number of bakes from one false alarm to the next, limits known: Western Electric's four
#: rules together (Champ & Woodall, Technometrics 29, 1987); Nelson's eight together: simulated
#: (tests.benchmarks, history); EWMA: Lucas & Saccucci 1990; one limit of three sigma: 1 / 0.0027
FALSE_ALARM_EVERY = {"western-electric": 92, "nelson": 70, "ewma": 500, LIMITS: 370}
#: with fewer expected faults in a bake shares are too skewed for rules made for the normal
#: distribution: the rule of thumb for the normal approximation, n p >= 5
LEAST_EXPECTED = 5.0


@dataclass(frozen=True)
class Panel:
    """A chart, the rules that it was judged by (a key of `FALSE_ALARM_EVERY`), and the signals."""

    chart: Chart
    rules: str
    signals: tuple[Signal, ...]


@dataclass(frozen=True)
class Trend:
    """A series' charts, the first the one that was asked for; and the change, where one was.

    ``values`` (N,) is what the series is of, NaN at gaps; ``base`` (N,) the bakes that the limits
    come from; ``sigma_doubt_rel`` how well those bakes know the limits' width (one standard
    uncertainty), None where it does not come from single values.
    """

    values: Floats
    base: Bools
    panels: tuple[Panel, ...]
    change: Change | None
    sigma_doubt_rel: float | None

    @property
    def base_bakes(self) -> int:
        """Bakes of the base period that have a value."""
        return int((self.base & np.isfinite(self.values)).sum())


@dataclass(frozen=True)
class Plan:
    """What to chart and how; masks (N,) over the bakes. ``after`` None: no change to look at."""

    base: Bools
    chart: ChartName = "individuals"
    rules: Rules = "western-electric"
    after: Bools | None = None


def trend_of_values(values: Floats, plan: Plan) -> Trend:
    """Bakes' means or spreads (N,), the bake as the unit.

    ``plan.chart``: "individuals" with moving ranges, or "ewma" with the individuals.

    Raises
    ------
    ValueError
        With fewer than two values in the base period.
    """
    single = charts.individuals(values, plan.base)
    panels = (_by_rules(single, plan.rules), _by_limits(charts.moving_range(values, plan.base)))
    if plan.chart == "ewma":
        smooth = charts.ewma(values, float(single.centre[0]), float(single.sigma[0]))
        panels = (_by_limits(smooth, "ewma"), panels[0])
    return _trend(values, plan, panels)


def trend_of_shells(series: BakeSeries, of: Of, plan: Plan) -> Trend:
    """X-bar and S charts: do bakes differ more than their own shells' scatter explains?

    Raises
    ------
    ValueError
        With no bake of two shells in the base period.
    """
    middle, spread = charts.mean_and_spread(series.means, series.sds, series.counts, plan.base)
    panels = (_by_rules(middle, plan.rules), _by_limits(spread))
    if of == "spread":
        return _trend(spread.points, plan, panels[::-1])
    return _trend(series.means, plan, panels)


def trend_of_share(faults: Floats, counts: Floats, plan: Plan) -> Trend:
    """p chart of faulty shells (N,) among counts (N,), limits widened where bakes scatter more
    than single shells would.

    Raises
    ------
    ValueError
        With fewer than two bakes in the base period.
    """
    chart = charts.share(faults, counts, plan.base, between=True)
    expected = float(chart.centre[0]) * float(np.median(counts[counts > 0]))
    symmetric = expected >= LEAST_EXPECTED
    panel = _by_rules(chart, plan.rules) if symmetric else _by_limits(chart)
    return _trend(chart.points, plan, (panel,))


def _trend(values: Floats, plan: Plan, panels: tuple[Panel, ...]) -> Trend:
    known = int((plan.base & np.isfinite(values)).sum())
    single = panels[0].chart.kind in ("individuals", "ewma", "share") and known >= 2
    doubt = charts.relative_doubt_of_sigma(known) if single else None
    found = None if plan.after is None else change(values[~plan.after], values[plan.after])
    return Trend(values, plan.base, panels, found, doubt)


def _by_rules(chart: Chart, rules: Rules) -> Panel:
    """The run rules; "beyond 3 sigma" never where the chart's own limits say otherwise."""
    judge = western_electric if rules == "western-electric" else nelson
    first = "Western Electric 1" if rules == "western-electric" else "Nelson 1"
    beyond = chart.beyond
    signals = judge(chart.standardised)
    return Panel(chart, rules, tuple(s for s in signals if s.rule != first or beyond[s.index]))


def _by_limits(chart: Chart, rules: str = LIMITS) -> Panel:
    return Panel(chart, rules, only_limits(chart.beyond, LIMITS, "beyond its limits"))
