"""``python -m tests.benchmarks.over_time [--only PART] [--runs N]``: changes, charts and causes.

Bakes' means on the days of `kitchen_days`: trays that share their day, days like those before
them, drift and a season. Seeds below 1,000 were looked at while the methods were built; figures
start at `FIGURE_SEED`.
"""

import argparse
import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from petitpied.patterns.trends.association import Outcome, associations
from petitpied.patterns.trends.change import change
from petitpied.patterns.trends.regressors import Regressor
from petitpied.patterns.trends.trend import Plan, trend_of_values, with_chance
from petitpied.statistics.made_together import means_by_unit
from tests.benchmarks.kitchen_days import Days, day_means
from tests.benchmarks.many_bakes import FIGURE_SEED, bounded

#: scatter of a tray's mean about its day's, the day's being 0.5
TRAY_SPREAD = 0.2


def tray_means(plan, rng):
    """Means of all trays (N,), and the day (N,) of each."""
    day = np.repeat(np.arange(plan.days), plan.trays)
    values = day_means(plan, rng)[day] + rng.normal(0, TRAY_SPREAD, len(day))
    return values, day


def of_days(plan, rng):
    values, day = tray_means(plan, rng)
    return means_by_unit(day, values)


def changes(runs, seed):
    """Nothing changed, or a step of 1 mm at the middle, days of spread 0.5 mm."""
    yield (
        "| days | trays a day | day to day | drift, mm | runs | false | at most (95 %) | held | "
        "1 mm found |"
    )
    yield "|---|---|---|---|---|---|---|---|---|"
    cases = [(6, 1, 0, 0), (8, 3, 0, 0), (12, 1, 0, 0), (20, 1, 0, 0), (20, 1, 0.5, 0),
             (20, 1, 0.7, 0), (12, 2, 0.5, 0), (20, 1, 0, 2), (20, 2, 0.5, 2)]  # fmt: skip
    for number, (days, trays, like, drift) in enumerate(cases):
        rng = np.random.default_rng([seed, 11, number])
        late = np.arange(days) >= days / 2
        false = held = found = 0
        for _ in range(runs):
            y = of_days(Days(days, trays, like=like, drift=drift), rng)
            null, step = change(y, late), change(y + late, late)
            false += null.shows
            held += step.low <= 1 <= step.high
            found += step.low > 0
        yield (
            f"| {days} | {trays} | {like} | {drift} | {runs} | {bounded(false, runs)} | "
            f"{held / runs:.1%} | {found / runs:.1%} |"
        )


def signals(runs, seed):
    """Steady kitchens' individuals charts, limits from the first 20: signals, and what is said."""
    yield "| days | day to day | rules | kitchens with a signal | said, mean of kitchens |"
    yield "|---|---|---|---|---|"
    for days in (12, 40):
        for like in (0, 0.5, 0.7):
            for rules in ("western-electric", "nelson"):
                rng = np.random.default_rng([seed, 12, days, round(10 * like)])
                plan = Plan(base=np.arange(days) < 20, rules=rules)
                hit, said = 0, []
                for n in range(runs):
                    y = of_days(Days(days, like=like), rng)
                    found = trend_of_values(y, plan)
                    hit += bool(found.panels[0].signals)
                    if n < 40:  # each takes 400 drawn kitchens
                        said.append(with_chance(found, plan, rng).by_chance)
                yield (f"| {days} | {like} | {rules} | {hit / runs:.0%} | {np.mean(said):.0%} |")


def _season(days, rng):
    return np.sin(2 * np.pi * (np.arange(days) / days + rng.random()))


def causes(runs, seed):
    """Three facts that have nothing to do with the outcome; one that adds 0.5 mm a step of its
    own spread."""
    yield (
        "| days | trays a day | outcome | facts | runs | any false | at most (95 %) | held | "
        "0.5 mm found |"
    )
    yield "|---|---|---|---|---|---|---|---|---|"
    cases = [(12, 1, 0, 0, False), (30, 1, 0, 0, False), (10, 3, 0, 0, False),
             (30, 1, 0.7, 0, False), (30, 1, 0.7, 0.7, False), (30, 1, 0.3, 0.3, True),
             (40, 2, 0.5, 0.7, True)]  # fmt: skip
    for number, (days, trays, like, fact_like, season) in enumerate(cases):
        rng = np.random.default_rng([seed, 13, number])
        plan, of_fact = Days(days, trays, like=like), Days(days, like=fact_like, mean_spread=1.0)
        false = held = found = 0
        for _ in range(runs):
            values, day = tray_means(plan, rng)
            facts = [day_means(of_fact, rng) for _ in range(3)]
            if season:
                values = values + 0.5 * _season(days, rng)[day]
                facts = [f + _season(days, rng) for f in facts]
            logged = [Regressor(f"fact {k}", "", "mm", 1.0, f[day]) for k, f in enumerate(facts)]
            told = associations([Outcome("mean", "diameter", "mm", values)], logged, day, rng)
            false += any(a.stands_out for a in told)
            held += np.mean([a.low <= 0 <= a.high for a in told])
            helped = Outcome("mean", "diameter", "mm", values + 0.5 * facts[0][day])
            told = associations([helped], logged[:1], day, rng)
            found += any(a.stands_out for a in told)
        kind = f"day to day {fact_like}{', season' if season else ''}"
        yield (
            f"| {days} | {trays} | day to day {like} | {kind} | {runs} | {bounded(false, runs)} | "
            f"{held / runs:.1%} | {found / runs:.1%} |"
        )


PARTS = {
    "changes": ("Before and after", changes, 1000),
    "charts": ("Control charts of steady kitchens", signals, 1000),
    "causes": ("Facts and faults", causes, 1000),
}


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", choices=sorted(PARTS), action="append")
    parser.add_argument("--runs", type=int, help="histories a line")
    parser.add_argument("--seed", type=int, default=FIGURE_SEED)
    options = parser.parse_args()
    for name in options.only or PARTS:
        title, lines, runs = PARTS[name]
        print(f"\n### {title}\n")
        for line in lines(options.runs or runs, options.seed):
            print(line, flush=True)


if __name__ == "__main__":
    main()
