"""Gift boxes from pairs: as many as can be filled, then the most even.

First the count, then the smallest worst range of diameter are found exactly by a sweep (see
`_sweep`); then the smallest worst range of colour by mixed-integer programming
(`petitpied.sorting.box_colour`).
"""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import hypot, inf

import numpy as np

from petitpied.domain.quantity import Quantity
from petitpied.sorting.box_colour import ColourTask, most_alike
from petitpied.sorting.box_file import BoxKind
from petitpied.sorting.pairing import Pair

#: one-sided 95 % of the normal distribution: a macaron fits its slot if it is that sure (guarded
#: acceptance, JCGM 106, 8.3.2)
SURE_95 = 1.645


@dataclass(frozen=True, slots=True)
class Macaron:
    """A pair as it lies in a box: the larger diameter counts."""

    number: int  # of the pair, from 1
    pair: Pair
    diameter_mm: Quantity
    thickness_mm: Quantity | None
    lab: tuple[float, float, float] | None

    @property
    def flavour(self) -> str:
        return " and ".join(self.pair.flavours)


@dataclass(frozen=True, slots=True)
class Box:
    """A filled box, its macarons in order of flavour and size."""

    macarons: tuple[Macaron, ...]
    range_mm: float
    range_u_mm: float
    colour_range: float | None  # largest CIELAB distance of two of one flavour


@dataclass(frozen=True, slots=True)
class Unboxed:
    """A macaron that is in no box, and why."""

    macaron: Macaron
    why: str


@dataclass(frozen=True, slots=True)
class Boxing:
    """All boxes. Count and ``worst_range_mm`` are optimal; no filling as even in diameter has a
    worst colour range below ``colour_bound``."""

    boxes: tuple[Box, ...]
    left_over: tuple[Unboxed, ...]
    worst_range_mm: float | None
    worst_colour: float | None
    colour_bound: float | None
    notes: tuple[str, ...] = ()


def macaron(number: int, pair: Pair, filling_height_mm: float | None) -> Macaron:
    """A pair with its filling; its thickness where both heights and the filling are known."""
    larger = max(pair.a.diameter_mm, pair.b.diameter_mm, key=lambda q: q.value)
    a, b = pair.a.height_mm, pair.b.height_mm
    thickness = None
    if a is not None and b is not None and filling_height_mm is not None:
        # both are of the same make of ruler or view: shared parts add up
        value = a.value + b.value + filling_height_mm
        thickness = Quantity(value, hypot(a.u_own, b.u_own), a.u_shared + b.u_shared)
    lab = None
    if pair.a.lab is not None and pair.b.lab is not None:
        first, second = pair.a.lab, pair.b.lab
        lab = tuple((p + q) / 2 for p, q in zip(first, second, strict=True))
    return Macaron(number, pair, larger, thickness, lab)  # type: ignore[arg-type]


def fill_boxes(macarons: Sequence[Macaron], kind: BoxKind, time_limit_s: float) -> Boxing:
    """Fill as many boxes as can be, then make them even; ``time_limit_s`` is for the colours."""
    left: list[Unboxed] = []
    fitting = []
    for one in macarons:
        why = _why_not(one, kind)
        if why is None:
            fitting.append(one)
        else:
            left.append(Unboxed(one, why))
    recipes = _recipes(fitting, kind)
    most = inf if kind.even_range_mm is None else kind.even_range_mm
    tight = _tightest(recipes, most)
    drafts = [(r, box) for r in recipes for box in _sweep(r, tight)]
    bound: float | None = None
    coloured = bool(drafts) and all(one.lab is not None for one in fitting)
    if coloured:
        drafts, bound = _alike(recipes, tight, time_limit_s)
    boxes = tuple(_box([one for part in box for one in part]) for _, box in drafts)
    boxed = {one.number for box in boxes for one in box.macarons}
    rest = [one for one in fitting if one.number not in boxed]
    left += [Unboxed(one, _why_rest(one, rest, kind)) for one in rest]
    left.sort(key=lambda item: item.macaron.number)
    worst_colour = max((b.colour_range or 0.0 for b in boxes), default=None) if coloured else None
    return Boxing(
        boxes,
        tuple(left),
        max((box.range_mm for box in boxes), default=None),
        worst_colour,
        None if bound is None or worst_colour is None else min(bound, worst_colour),
        _notes(fitting, kind, coloured),
    )


def _why_not(one: Macaron, kind: BoxKind) -> str | None:
    """Why a macaron cannot lie in any box of this kind; None: it can."""
    room = kind.slot_pitch_mm - kind.clearance_mm
    most = one.diameter_mm.value + SURE_95 * one.diameter_mm.u
    if most > room:
        return (
            f"its diameter {one.diameter_mm.value:.1f} mm ± {one.diameter_mm.u95:.1f} mm does not "
            f"surely fit the {room:g} mm that the slot leaves"
        )
    if one.thickness_mm is not None and kind.slot_depth_mm is not None:
        thick = one.thickness_mm.value + SURE_95 * one.thickness_mm.u
        if thick > kind.slot_depth_mm:
            return (
                f"its thickness {one.thickness_mm.value:.1f} mm ± {one.thickness_mm.u95:.1f} mm "
                f"does not surely fit the {kind.slot_depth_mm:g} mm of the slot"
            )
    if isinstance(kind.flavours, Mapping) and one.flavour not in kind.flavours:
        return f'the box holds no "{one.flavour}"' if one.flavour else "its flavour is not known"
    return None


@dataclass(frozen=True)
class Recipe:
    """What one sort of box needs: of each group so many; groups in order of diameter."""

    groups: tuple[tuple[Macaron, ...], ...]
    counts: tuple[int, ...]


def _recipes(fitting: Sequence[Macaron], kind: BoxKind) -> tuple[Recipe, ...]:
    """One for a box of given flavours or any, one a flavour for boxes of one flavour."""
    ordered = sorted(fitting, key=lambda m: (m.diameter_mm.value, m.number))
    if kind.flavours == "any":
        return (Recipe((tuple(ordered),), (kind.slots,)),)
    groups: dict[str, list[Macaron]] = defaultdict(list)
    for one in ordered:
        groups[one.flavour].append(one)
    if kind.flavours == "one":
        return tuple(Recipe((tuple(groups[f]),), (kind.slots,)) for f in sorted(groups))
    names = tuple(kind.flavours)
    return (Recipe(tuple(tuple(groups[f]) for f in names), tuple(kind.flavours.values())),)


Draft = tuple[tuple[Macaron, ...], ...]  # a box: its macarons, group by group


def _sweep(recipe: Recipe, range_mm: float) -> list[Draft]:
    """As many boxes as can be with no wider range of diameter.

    Take the smallest that are left of every group, as many as a box needs. If their range is
    small enough they are a box: in any other filling, sorted by size, the first box can be
    exchanged for these, which are no larger. If not, the smallest of them can be in no box at
    all, for its partners would be at least as large: drop it.
    """
    place = [0] * len(recipe.groups)
    boxes: list[Draft] = []
    needs = list(zip(recipe.groups, recipe.counts, strict=True))
    while all(place[g] + n <= len(group) for g, (group, n) in enumerate(needs)):
        box = tuple(group[place[g] : place[g] + n] for g, (group, n) in enumerate(needs))
        firsts = [part[0].diameter_mm.value for part in box]
        if max(part[-1].diameter_mm.value for part in box) - min(firsts) <= range_mm:
            boxes.append(box)
            place = [p + n for p, n in zip(place, recipe.counts, strict=True)]
        else:
            place[int(np.argmin(firsts))] += 1
    return boxes


def _tightest(recipes: Sequence[Recipe], most_mm: float) -> float:
    """The smallest range (mm) at which as many boxes can be filled as at ``most_mm``."""

    def count(range_mm: float) -> int:
        return sum(len(_sweep(recipe, range_mm)) for recipe in recipes)

    wanted = count(most_mm)
    sizes = sorted(m.diameter_mm.value for r in recipes for group in r.groups for m in group)
    if wanted == 0:
        return 0.0
    low, high = -1.0, min(most_mm, sizes[-1] - sizes[0])
    while True:  # halve; then the widest box of the filling is a range that exists: step to it
        middle = (low + high) / 2
        if not low < middle < high or high - low < 1e-10:
            break
        if count(middle) >= wanted:
            high = _widest(recipes, middle)
        else:
            low = middle
    return high


def _widest(recipes: Sequence[Recipe], range_mm: float) -> float:
    return max(
        _range([m for part in box for m in part]) for r in recipes for box in _sweep(r, range_mm)
    )


def _range(macarons: Sequence[Macaron]) -> float:
    sizes = [one.diameter_mm.value for one in macarons]
    return max(sizes) - min(sizes)


def _alike(
    recipes: Sequence[Recipe], range_mm: float, time_limit_s: float
) -> tuple[list[tuple[Recipe, Draft]], float]:
    """The same count and range, with the smallest worst colour range; and its bound."""
    drafts: list[tuple[Recipe, Draft]] = []
    bound = 0.0
    for recipe in recipes:
        start = _sweep(recipe, range_mm)
        if not start:
            continue
        everyone = [one for group in recipe.groups for one in group]
        number = {one.number: i for i, one in enumerate(everyone)}
        task = ColourTask(
            np.array([one.diameter_mm.value for one in everyone]),
            np.array([one.lab for one in everyone]),
            np.repeat(np.arange(len(recipe.groups)), [len(g) for g in recipe.groups]),
            np.unique([one.flavour for one in everyone], return_inverse=True)[1],
            recipe.counts,
            range_mm,
        )
        first = [[number[one.number] for part in box for one in part] for box in start]
        found, lowest = most_alike(task, first, time_limit_s / len(recipes))
        bound = max(bound, lowest)
        for box in found:
            parts = tuple(
                tuple(everyone[i] for i in sorted(box) if task.group[i] == g)
                for g in range(len(recipe.groups))
            )
            drafts.append((recipe, parts))
    return drafts, bound


def _box(macarons: Sequence[Macaron]) -> Box:
    ordered = sorted(macarons, key=lambda m: m.diameter_mm.value)
    small, large = ordered[0], ordered[-1]
    return Box(
        tuple(macarons),
        large.diameter_mm.value - small.diameter_mm.value,
        _apart_u_mm(small, large),
        _colour_range(macarons),
    )


def _apart_u_mm(small: Macaron, large: Macaron) -> float:
    """Standard uncertainty of a difference; shells of one photo share the scale's error."""
    a, b = small.diameter_mm, large.diameter_mm
    same = small.pair.a.record == large.pair.a.record
    shared = abs(a.u_shared - b.u_shared) if same else hypot(a.u_shared, b.u_shared)
    return hypot(a.u_own, b.u_own, shared) if small is not large else 0.0


def _colour_range(macarons: Sequence[Macaron]) -> float | None:
    if any(one.lab is None for one in macarons):
        return None
    worst = 0.0
    for flavour in {one.flavour for one in macarons}:
        labs = np.array([one.lab for one in macarons if one.flavour == flavour])
        apart = np.linalg.norm(labs[:, None] - labs[None], axis=2)
        worst = max(worst, float(apart.max()))
    return worst


def _why_rest(one: Macaron, rest: Sequence[Macaron], kind: BoxKind) -> str:
    left = Counter(m.flavour for m in rest)
    if isinstance(kind.flavours, Mapping):
        short = [f for f, n in kind.flavours.items() if left[f] < n]
        if short:
            needs = ", ".join(f"{kind.flavours[f]} {f} ({left[f]} left)" for f in short)
            return f"no further box can be filled: it would need {needs}"
    else:
        count = left[one.flavour] if kind.flavours == "one" else len(rest)
        if count < kind.slots:
            return f"no further box can be filled: {count} left, a box needs {kind.slots}"
    return f"those left differ by more than the {kind.even_range_mm:g} mm allowed in a box"


def _notes(fitting: Sequence[Macaron], kind: BoxKind, coloured: bool) -> tuple[str, ...]:
    notes = []
    if kind.slot_depth_mm is not None and any(one.thickness_mm is None for one in fitting):
        notes.append("the thickness was not checked: shell heights or filling are not known")
    if not coloured and fitting:
        notes.append("colour was not compared: not every shell has one")
    return tuple(notes)
