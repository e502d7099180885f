"""Figures of oven maps and of oven-or-hand, over simulated histories.

Seeds below 1,000 were used while the method was built; figures start at `FIGURE_SEED`. Seed
900,000 was looked at once: after it the rule for six bakes and the second side's threshold were
set. The one other choice made by looking at power: how many bakes the pooled variance counts.
"""

import resource
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
from scipy.stats import beta

from petitpied.domain.bake import Bake
from petitpied.patterns.oven.oven_map import map_oven
from petitpied.patterns.oven.oven_or_hand import tell_apart
from petitpied.patterns.oven.synthetic import Plan, Planted, make_history

FIGURE_SEED = 910_000
#: shells at half-sheet places; a spot's middle lies anywhere on the tray
HALF_WIDTH_MM, HALF_DEPTH_MM = 215.0, 152.5
NULLS = {
    "independent": {},
    "half smooth over 70 mm": {"smooth_share": 0.5},
    "half smooth, heavy tails (t, 3 d.f.), 20 % missing": {
        "smooth_share": 0.5,
        "tails": 3.0,
        "missing": 0.2,
    },
}
#: wanted share found, by bakes and smooth share
POWER = ((12, 0.0, 95), (20, 0.5, 90), (6, 0.0, 50))


def upper_bound(hits: int, count: int) -> float:
    """Upper 95 % bound of a share, one-sided (Clopper & Pearson, Biometrika 26, 1934)."""
    return 1.0 if hits >= count else float(beta.ppf(0.95, hits + 1, count - hits))


def _generator(*key: int) -> np.random.Generator:
    return np.random.default_rng([FIGURE_SEED, *key])


def false_alarm_lines(rounds: int, bakes: tuple[int, ...] = (1, 3, 6, 20)) -> Iterator[str]:
    """Histories without any pattern: how often one is told of. Four times the rounds where sign
    flips hold the 5 % exactly, so that the count tells 5 % from more."""
    yield "| noise | bakes | histories | false alarms | upper 95 % bound |"
    yield "|---|---|---|---|---|"
    for number, (name, changes) in enumerate(NULLS.items()):
        for count in bakes:
            rng = _generator(1, number, count)
            plan = Plan(count, count // 2, **changes)
            number_made = rounds * (1 if count < 6 else 4)
            hits = sum(
                map_oven(make_history(plan, rng), "diameter", rng).strength != "nothing found"
                for _ in range(number_made)
            )
            bound, share = upper_bound(hits, number_made), hits / number_made
            yield f"| {name} | {count} | {number_made} | {share:.1%} | {bound:.1%} |"


def _random_spot(rng: np.random.Generator, size: float) -> Planted:
    x = rng.uniform(-HALF_WIDTH_MM, HALF_WIDTH_MM)
    return Planted("spot", size, (x, rng.uniform(-HALF_DEPTH_MM, HALF_DEPTH_MM)))


def power_lines(rounds: int) -> Iterator[str]:
    """A spot of one shell-SD anywhere: found, and its place; and whether the effect that null
    histories state as found 4 times in 5 (their median) is."""
    yield "| bakes | smooth | found | wanted | place within 60 mm | stated for 80 % | found |"
    yield "|---|---|---|---|---|---|---|"
    for count, smooth, wanted in POWER:
        rng = _generator(2, count)
        found, near = [], []
        for _ in range(rounds):
            spot = _random_spot(rng, 1.0)
            plan = Plan(count, smooth_share=smooth, oven=(spot,))
            result = map_oven(make_history(plan, rng), "diameter", rng)
            place = next(f.place_mm for f in result.findings if f.kind == "spot")
            found.append(result.strength == "shows")
            near.append(np.hypot(*np.subtract(place, spot.place_mm)) <= 60)
        stated = _stated(count, smooth, max(rounds // 4, 20))
        at80 = _found_at(count, smooth, stated, max(rounds // 2, 20))
        yield (
            f"| {count} | {smooth:.0%} | {np.mean(found):.1%} | {wanted} % | "
            f"{np.mean(np.array(near)[found]):.1%} | {stated:.2f} SD | {at80:.1%} |"
        )


def _stated(count: int, smooth: float, rounds: int) -> float:
    rng = _generator(6, count)
    plan = Plan(count, smooth_share=smooth)
    maps = (map_oven(make_history(plan, rng), "diameter", rng) for _ in range(rounds))
    return float(np.median([found.smallest_effect_80 for found in maps]))


def _found_at(count: int, smooth: float, size: float, rounds: int) -> float:
    rng = _generator(3, count)
    hits = 0
    for _ in range(rounds):
        plan = Plan(count, smooth_share=smooth, oven=(_random_spot(rng, size),))
        hits += map_oven(make_history(plan, rng), "diameter", rng).strength == "shows"
    return hits / rounds


def coverage_lines(rounds: int) -> Iterator[str]:
    """Do the intervals hold the planted effect?"""
    yield "| pattern | planted, mm | bakes | noise | intervals that hold it |"
    yield "|---|---|---|---|---|"
    effects = (Planted("across", 1.0), Planted("front-back", -0.8), Planted("centre-edge", 0.6))
    for count in (3, 6, 12, 20):
        for smooth in (0.0, 0.5):
            rng = _generator(4, count, round(10 * smooth))
            plan = Plan(count, smooth_share=smooth, missing=0.1)
            held = {e.kind: 0 for e in effects} | {"spot": 0}
            for _ in range(rounds):
                spot = _random_spot(rng, 1.0)
                for planted in (effects, (spot,)):
                    bakes = make_history(replace(plan, oven=planted), rng)
                    found = {f.kind: f for f in map_oven(bakes, "diameter", rng).findings}
                    for e in planted:
                        effect = found[e.kind].effect
                        held[e.kind] += abs(effect.value - e.size) <= effect.u95
            for e in (*effects, Planted("spot", 1.0)):
                share = held[e.kind] / rounds
                yield f"| {e.kind} | {e.size:+.1f} | {count} | {smooth:.0%} smooth | {share:.1%} |"


def side_lines(rounds: int) -> Iterator[str]:
    """Odd effects with 6 turned and 6 unturned bakes: which side is told."""
    yield "| planted | right side | wrong side | neither |"
    yield "|---|---|---|---|"
    for number, effect in enumerate(
        (Planted("across", 1.5), Planted("front-back", 1.5), Planted("spot", 1.5))
    ):
        for side in ("oven", "hand"):
            rng = _generator(5, number, len(side))
            right = wrong = neither = 0
            for _ in range(rounds):
                one = _random_corner(rng, effect) if effect.kind == "spot" else effect
                plan = Plan(12, 6, smooth_share=0.25, **{side: (one,)})
                result = tell_apart(make_history(plan, rng), "diameter", rng)
                told = {"oven": result.oven.stands_out, "hand": result.hand.stands_out}
                right += told.pop(side)
                wrong += any(told.values())
                neither += not (result.oven.stands_out or result.hand.stands_out)
            yield (
                f"| {effect.kind} {effect.size} mm, {side} | {right / rounds:.1%} | "
                f"{wrong / rounds:.1%} | {neither / rounds:.1%} |"
            )


def _random_corner(rng: np.random.Generator, effect: Planted) -> Planted:
    x, y = rng.choice([-1, 1], 2) * (150.0, 100.0)
    return replace(effect, place_mm=(float(x), float(y)))


def large_history(count: int) -> tuple[Bake, ...]:
    """Bakes of 36 shells, quick to make: a hundred made-up ones, again and again."""
    plan = Plan(min(count, 100), rows=6, columns=6, smooth_share=0.5)
    some = make_history(plan, np.random.default_rng(1))
    return tuple(some[i % len(some)] for i in range(count))


def _speed_of_one(count: int) -> None:
    """Print seconds of a map, and the process's largest memory (MB) before and after."""
    bakes = large_history(count)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    start = time.perf_counter()
    map_oven(bakes, "diameter", np.random.default_rng(1))
    seconds = time.perf_counter() - start
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{seconds:.2f} {before:.0f} {after:.0f}")


def speed_lines(counts: tuple[int, ...] = (1_250, 2_500, 5_000, 10_000)) -> Iterator[str]:
    """Each in a process of its own, so that its memory is its own."""
    yield "| bakes of 36 shells | map, s | a bake, ms | memory, MB |"
    yield "|---|---|---|---|"
    for count in counts:
        code = f"from tests.benchmarks.patterns import _speed_of_one as f; f({count})"
        done = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True
        )
        seconds, _, after = map(float, done.stdout.split())
        yield f"| {count} | {seconds:.2f} | {1000 * seconds / count:.3f} | {after:.0f} |"


#: the tables in their order: title, lines, rounds of a full run
TABLES: dict[str, tuple[str, Callable[[int], Iterator[str]], int]] = {
    "false alarms": ("False alarms of oven maps on histories without a pattern",
                     false_alarm_lines, 1000),
    "power": ("A spot of one shell-SD, 80 mm wide, anywhere on a half-sheet tray of 30 shells",
              power_lines, 1000),
    "coverage": ("Effects within their 95 % intervals", coverage_lines, 500),
    "side": ("Oven or hand, 6 turned and 6 unturned bakes", side_lines, 1000),
}  # fmt: skip


def pattern_lines(few: bool) -> Iterator[str]:
    """All tables; ``few``: a twentieth of the rounds, for a look."""
    for title, lines, rounds in TABLES.values():
        yield f"\n### {title}\n"
        yield f"{rounds // 20 if few else rounds} histories a line.\n"
        yield from lines(rounds // 20 if few else rounds)
    yield "\n### Speed of a map\n"
    yield from speed_lines((1_250, 2_500) if few else (1_250, 2_500, 5_000, 10_000))
