"""``python -m tests.benchmarks.many_bakes [--only PART] [--runs N]``: what many bakes may claim.

False alarms, power and intervals of maps, sides, changes and causes on the kitchens of
`kitchen_days`. Seeds below 1,000 were looked at while the methods were built; figures start at
`FIGURE_SEED`.
"""

import argparse
import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from scipy.stats import beta

from petitpied.patterns.camera_suspect import suspect
from petitpied.patterns.missing_shells import bounded as bounded_by
from petitpied.patterns.missing_shells import missing_shells
from petitpied.patterns.oven.oven_map import map_oven
from petitpied.patterns.oven.oven_or_hand import tell_apart
from petitpied.patterns.oven.synthetic import Plan, Planted, make_history
from tests.benchmarks.kitchen_days import Days, make_days

FIGURE_SEED = 20_270_000


def bounded(hits, count):
    """Share of hits with its upper 95 % bound (Clopper & Pearson)."""
    upper = 1.0 if hits >= count else float(beta.ppf(0.95, hits + 1, count - hits))
    return f"{hits / count:.1%} | {upper:.1%}"


def map_nulls(runs, seed):
    """Histories without any pattern: how often a map tells of one."""
    yield "| trays a day | days | shared | day to day | runs | false alarms | at most (95 %) |"
    yield "|---|---|---|---|---|---|---|"
    cases = [(1, 6, 0, 0), (1, 12, 0, 0), (3, 4, 0.2, 0), (3, 4, 0.5, 0), (4, 3, 0.5, 0),
             (2, 8, 0.5, 0), (4, 6, 0.5, 0), (4, 12, 0.5, 0), (2, 20, 0.2, 0),
             (1, 12, 0.5, 0.5), (3, 12, 0.5, 0.7), (1, 20, 0.5, 0.7),
             (4, 20, 0.5, 0.7), (1, 6, 0.2, 0.3), (1, 6, 0.5, 0.7)]  # fmt: skip
    for number, (trays, days, shared, like) in enumerate(cases):
        rng = np.random.default_rng([seed, 1, number])
        plan = Days(days, trays, shared, like, drift=1.0)
        hits = sum(
            map_oven(make_days(plan, rng), "diameter", rng).strength != "nothing found"
            for _ in range(runs)
        )
        yield f"| {trays} | {days} | {shared:.0%} | {like} | {runs} | {bounded(hits, runs)} |"


def spot_power(runs, seed):
    """A spot of one SD anywhere, one bake a day: found, by the package's own made-up histories and
    by these."""
    yield "| bakes | simulator | histories | found |"
    yield "|---|---|---|---|"
    for days in (6, 12):
        rng = np.random.default_rng([seed, 2, days])
        found = [0, 0]
        for _ in range(runs):
            place = (rng.uniform(-215, 215), rng.uniform(-152.5, 152.5))
            histories = (
                make_history(Plan(days, oven=(Planted("spot", 1.0, place),)), rng),
                make_days(Days(days, spot=(*place, 1.0)), rng),
            )
            for which, bakes in enumerate(histories):
                found[which] += map_oven(bakes, "diameter", rng).strength == "shows"
        for which, name in enumerate(("synthetic", "kitchen days")):
            yield f"| {days} | {name} | {runs} | {found[which] / runs:.1%} |"


def map_intervals(runs, seed):
    """Do effects' intervals hold what was planted?"""
    yield "| trays a day | days | shared | day to day | slope held | spot held |"
    yield "|---|---|---|---|---|---|"
    cases = [(1, 6, 0, 0), (3, 6, 0.5, 0), (2, 12, 0.5, 0), (1, 20, 0.2, 0), (2, 20, 0.5, 0.7)]
    for trays, days, shared, like in cases:
        rng = np.random.default_rng([seed, 3, trays, days, round(10 * like)])
        held = [0, 0]
        for _ in range(runs):
            place = (rng.uniform(-215, 215), rng.uniform(-152.5, 152.5))
            for which, plan in enumerate((
                Days(days, trays, shared, like, oven=1.0),
                Days(days, trays, shared, like, spot=(*place, 1.0)),
            )):  # fmt: skip
                found = map_oven(make_days(plan, rng), "diameter", rng).findings
                kind = ("across", "spot")[which]
                effect = next(f.effect for f in found if f.kind == kind)
                held[which] += effect is not None and abs(effect.value - 1.0) <= effect.u95
        yield (
            f"| {trays} | {days} | {shared:.0%} | {like} | {held[0] / runs:.1%} | "
            f"{held[1] / runs:.1%} |"
        )


def spots_beside_slopes(runs, seed):
    """A plain slope: is a spot claimed beside it?"""
    yield "| bakes | histories | slope found | spot claimed too |"
    yield "|---|---|---|---|"
    for days in (6, 12, 20):
        rng = np.random.default_rng([seed, 4, days])
        slope = spot = 0
        for _ in range(runs):
            found = map_oven(make_days(Days(days, oven=1.5), rng), "diameter", rng).findings
            slope += any(f.kind == "across" and f.stands_out for f in found)
            spot += any(f.kind == "spot" and f.stands_out for f in found)
        yield f"| {days} | {runs} | {slope / runs:.1%} | {spot / runs:.1%} |"


def missing_by_value(runs, seed):
    """Small shells at the edge are not measured; no pattern, or an edge 1 mm smaller, found."""
    yield "| bakes | lost of the small at the edge | edge | histories | claimed | at most (95 %) |"
    yield "|---|---|---|---|---|---|"
    for number, (days, lost, edge) in enumerate(
        [(6, 0.7, 0.0), (12, 0.7, 0.0), (20, 0.7, 0.0), (20, 0.3, 0.0), (12, 0.0, 1.5),
         (12, 0.3, 1.5)]
    ):  # fmt: skip
        rng = np.random.default_rng([seed, 7, number])
        hits = 0
        for _ in range(runs):
            bakes = make_days(Days(days, lost=lost, edge=edge), rng)
            found = map_oven(bakes, "diameter", rng)
            found = bounded_by(found, bakes, missing_shells(bakes, "diameter"), rng)
            hits += found.strongest is not None
        yield f"| {days} | {lost:.0%} | {edge} mm | {runs} | {bounded(hits, runs)} |"


def hand_for_oven(runs, seed):
    """The oven's slope changes by 2 mm halfway: is the hand blamed? And the right side, where
    nothing changes."""
    yield "| days | turned | oven, then | hand | histories | hand blamed | oven blamed | no side |"
    yield "|---|---|---|---|---|---|---|---|"
    cases = [(12, "late", 0.0, 2.0, 0.0), (12, "alternate", 0.0, 2.0, 0.0),
             (20, "alternate", 0.0, 2.0, 0.0), (12, "alternate", 1.5, 0.0, 0.0),
             (12, "alternate", 0.0, 0.0, 1.5)]  # fmt: skip
    for number, (days, turns, oven, late, hand) in enumerate(cases):
        rng = np.random.default_rng([seed, 5, number])
        blamed = np.zeros(2)
        for _ in range(runs):
            plan = Days(days, turns=turns, oven=oven, late_oven=late, hand=hand)
            found = tell_apart(make_days(plan, rng), "diameter", rng)
            blamed += [side is not None and side.stands_out for side in (found.hand, found.oven)]
        shares = [blamed[0] / runs, blamed[1] / runs, 1 - min(1.0, blamed.sum() / runs)]
        yield (
            f"| {days} | {turns} | {oven}, {oven + late} mm | {hand} mm | {runs} | "
            + " | ".join(f"{s:.1%}" for s in shares) + " |"
        )  # fmt: skip


def camera_for_oven(runs, seed):
    """A slope fixed to the photo: is the oven blamed, and nothing said of the camera? And is the
    camera cleared of a slope that is the oven's?"""
    yield (
        "| days | photos from | camera's slope | oven's | histories | oven alone blamed | "
        "at most (95 %) | oven or camera |"
    )
    yield "|---|---|---|---|---|---|---|---|"
    cases = [(12, "one", 1.5, 0.0), (12, "", 1.5, 0.0), (12, "by days", 1.5, 0.0),
             (12, "both", 1.5, 0.0), (12, "one, lens profile", None, 0.0),
             (12, "one, lens profile", 0.0, 2.0),
             (12, "by days", 0.0, 1.5), (12, "both", 0.0, 1.5), (12, "one", 0.0, 0.6)]  # fmt: skip
    for number, (days, sides, photo, oven) in enumerate(cases):
        rng = np.random.default_rng([seed, 6, number])
        alone = either = 0
        for _ in range(runs):
            # None: as large as the view's own uncertainty allows, 0.5 % of 45 mm
            size = rng.normal(0, 0.005 * 45) if photo is None else photo
            side, *lens = sides.split(", ")
            plan = Days(days, oven=oven, photo=size, sides=side, profiled=bool(lens))
            bakes = make_days(plan, rng)
            strongest = map_oven(bakes, "diameter", rng).strongest
            if strongest is not None:
                cleared = suspect(bakes, "diameter", strongest).cleared
                alone, either = alone + cleared, either + (not cleared)
        slope = "as the view allows" if photo is None else f"{photo} mm"
        yield (
            f"| {days} | {sides or 'not known'} | {slope} | {oven} mm | {runs} | "
            f"{bounded(alone, runs)} | {either / runs:.1%} |"
        )


#: part to its title, lines, and histories of a full run
PARTS = {
    "nulls": ("Maps without a pattern", map_nulls, 1000),
    "power": ("A spot of one SD", spot_power, 1000),
    "intervals": ("Intervals of maps", map_intervals, 500),
    "hand": ("A change of oven, and the hand", hand_for_oven, 500),
    "camera": ("The camera, and the oven", camera_for_oven, 500),
    "missing": ("Shells missing by value", missing_by_value, 500),
    "nested": ("Spots beside a slope", spots_beside_slopes, 500),
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
