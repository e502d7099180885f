"""Is the process steady, and did a change change it? One series of bakes, its charts, signals."""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from petitpied.patterns.trends import control_charts as charts
from petitpied.patterns.trends.bake_series import BakeSeries
from petitpied.patterns.trends.change import Change, change
from petitpied.patterns.trends.control_charts import Chart
from petitpied.patterns.trends.run_rules import Signal, nelson, only_limits, western_electric
from petitpied.statistics.serial import pooled_autocorrelation
from petitpied.statistics.step_in_time import estimate

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

Of = Literal["mean", "spread", "share"]
ChartName = Literal["individuals", "xbar-s", "ewma"]
Rules = Literal["western-electric", "nelson"]

LIMITS = "limits"
#: steady kitchens that are drawn to say how often such a chart signals by chance, and points of
#: each at most: the share is then known to 2.5 % (1 s.e.)
STEADY_RUNS, STEADY_POINTS = 400, 100
#: with fewer expected faults in a bake shares are too skewed for rules made for the normal
#: distribution: the rule of thumb for the normal approximation, n p >= 5
LEAST_EXPECTED = 5.0


@dataclass(frozen=True)
class Panel:
    """A chart, the rules that it was judged by (or `LIMITS`, "ewma"), and the signals."""

    chart: Chart
    rules: str
    signals: tuple[Signal, ...]


@dataclass(frozen=True)
class Trend:
    """A series' charts, the first the one that was asked for; and the change, where one was.

    ``values`` (N,) is what the series is of, NaN at gaps; ``base`` (N,) the bakes that the limits
    come from; ``sigma_doubt_rel`` how well those bakes know the limits' width (one standard
    uncertainty), None where it does not come from single values. ``correlation``: from one
    value to the next, 0 unless the base period shows it. ``by_chance``: share of steady kitchens
    whose first chart has a signal within as many points (`STEADY_POINTS` at most); None where
    not drawn.
    """

    values: Floats
    base: Bools
    panels: tuple[Panel, ...]
    change: Change | None
    sigma_doubt_rel: float | None
    correlation: float = 0.0
    by_chance: float | None = None

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
    alike = _correlation(values, plan.base)
    first, single = _first_panel(values, plan, alike)
    if plan.chart == "ewma":
        panels = (first, _by_rules(single, plan.rules))
    else:
        panels = (first, _by_limits(charts.moving_range(values, plan.base)))
    return replace(_trend(values, plan, panels), correlation=alike)


def _correlation(values: Floats, base: Bools) -> float:
    known = values[base & np.isfinite(values)]
    return pooled_autocorrelation(known[:, None]) if len(known) else 0.0


def _first_panel(values: Floats, plan: "Plan", alike: float) -> tuple[Panel, Chart]:
    """The panel that was asked for, and the single values' chart."""
    single = charts.individuals(values, plan.base, alike)
    if plan.chart != "ewma":
        return _by_rules(single, plan.rules), single
    known = values[plan.base & np.isfinite(values)]
    centre = float(known.mean())
    new = values if alike <= 0 else values - single.centre + centre
    smooth = charts.ewma(new, centre, float(single.sigma[-1]))
    return _by_limits(smooth, "ewma"), single


def with_chance(found: Trend, plan: "Plan", rng: np.random.Generator) -> Trend:
    """How often a steady kitchen's chart has a signal, by drawing: days as alike as the series
    says, with the doubt about that, the limits from as many points. Not for charts whose limits
    come from shells."""
    if found.panels[0].chart.kind not in ("individuals", "ewma", "share"):
        return found
    known = np.flatnonzero(np.isfinite(found.values))
    count = min(len(known), STEADY_POINTS)
    base = int(plan.base[known].sum())
    y = found.values[known][plan.base[known]]
    likely = estimate(y, np.ones((len(y), 1)), 0)
    drawn_plan = replace(plan, base=np.arange(count) < max(min(base, count), 2), after=None)
    hits = 0
    for _ in range(STEADY_RUNS):
        alike = 0.0 if likely is None else rng.choice(likely.correlations, p=likely.weights)
        drawn = autoregression(count, float(alike), rng)
        panel, _ = _first_panel(drawn, drawn_plan, _correlation(drawn, drawn_plan.base))
        if found.panels[0].rules == LIMITS:
            hits += bool(panel.chart.beyond.any())
        else:
            hits += bool(panel.signals)
    return replace(found, by_chance=hits / STEADY_RUNS)


def autoregression(count: int, correlation: float, rng: np.random.Generator) -> Floats:
    """A first-order autoregression (count,) of variance 1."""
    values = rng.normal(size=count)
    new = np.sqrt(1 - correlation**2)
    for n in range(1, count):
        values[n] = correlation * values[n - 1] + new * values[n]
    return values


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
    found = None if plan.after is None else change(values, plan.after)
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
