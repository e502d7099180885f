"""``python -m tests.benchmarks.lots_of_trays [--runs N]``: yield and Cpk over trays that differ.

Shells of spread 0.8 within trays; limits 2 spreads below and 2.5 above the middle. How often the
95 % intervals hold the process.
"""

import argparse

import numpy as np
from scipy.stats import norm

from petitpied.domain.quantity import Quantity
from petitpied.sorting.limits import Limit
from petitpied.sorting.yields import capability, share_of_trays
from tests.benchmarks.many_bakes import FIGURE_SEED

WITHIN, SHELLS = 0.8, 30


def lines(runs, seed):
    yield "| trays | spread of trays' means | runs | yield held | Cpk held | Cp held |"
    yield "|---|---|---|---|---|---|"
    true = 1 - norm.sf(2) - norm.sf(2.5)
    for trays in (2, 3, 4, 6, 12):
        for between in (0.0, 0.6):
            rng = np.random.default_rng([seed, 21, trays, round(10 * between)])
            total = np.hypot(between, WITHIN)
            limit = Limit("diameter_mm", 45 - 2 * total, 45 + 2.5 * total)
            tray = np.repeat(np.arange(trays), SHELLS)
            held = np.zeros(3)
            for _ in range(runs):
                x = 45 + between * rng.normal(size=trays)[tray]
                x = x + WITHIN * rng.normal(size=len(tray))
                good = np.bincount(tray, (x >= limit.low) & (x <= limit.high)).astype(int)
                found = share_of_trays(good.tolist(), [SHELLS] * trays)
                able = capability([Quantity(v, 0.0) for v in x], limit, tray)
                held += (
                    found.low <= true <= found.high,
                    able.cpk_interval[0] <= 2 / 3 <= able.cpk_interval[1],
                    able.cp_interval[0] <= 0.75 <= able.cp_interval[1],
                )
            shares = " | ".join(f"{h / runs:.1%}" for h in held)
            yield f"| {trays} | {between} | {runs} | {shares} |"


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=FIGURE_SEED)
    options = parser.parse_args()
    print("\n### Yield and capability over trays that differ\n")
    for line in lines(options.runs, options.seed):
        print(line, flush=True)


if __name__ == "__main__":
    main()
