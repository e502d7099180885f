"""A recipe scaled to a wanted number of boxes. Weights in grams."""

from dataclasses import dataclass
from math import ceil

#: share of batches that should give enough good shells: the baker's choice, this if none
DEFAULT_CHANCE = 0.9
MAX_SHELLS = 100_000


@dataclass(frozen=True, slots=True)
class Recipe:
    """The baker's own recipe. ``weights_g``: ingredient to weight, egg white among them, in one
    portion or several; ``boiled_off_g``: water that leaves the syrup, and so never gets piped."""

    name: str
    weights_g: tuple[tuple[str, float], ...]
    egg_whites: tuple[str, ...]  # their names among the ingredients: together the base
    batter_g_per_shell: float
    lost_rel: float  # share of the batter left in bowl, bag and nozzle, 0 to 1
    macarons_per_box: int
    shells_per_tray: int
    meringue: str = "french"
    boiled_off_g: float = 0.0

    @property
    def batter_g(self) -> float:
        """What the batter weighs, and so can be piped."""
        return sum(weight for _, weight in self.weights_g) - self.boiled_off_g

    @property
    def egg_white_g(self) -> float:
        return sum(dict(self.weights_g)[name] for name in self.egg_whites)


@dataclass(frozen=True, slots=True)
class GoodShare:
    """Good shells among baked ones, as counted: the measured yield."""

    good: int
    baked: int


@dataclass(frozen=True, slots=True)
class Batch:
    """What to make: shells, trays, batter, and each ingredient's weight with its share of the
    egg white. ``chance``: of enough good shells, None where no yield was measured."""

    boxes: int
    shells_needed: int
    shells: int
    trays: int
    batter_g: float
    boiled_off_g: float
    ingredients: tuple[tuple[str, float, float], ...]  # name, grams, over egg white
    chance: float | None


def shells_to_pipe(needed: int, share: GoodShare, chance: float) -> int:
    """The fewest shells among which ``needed`` are good with at least ``chance``.

    The yield's own doubt counts: good shells of n follow the beta-binomial distribution with
    the posterior of Jeffreys' prior, Beta(good + 1/2, bad + 1/2) (Brown, Cai & DasGupta 2001).

    Raises
    ------
    ValueError
        If more than `MAX_SHELLS` would be needed.
    """
    low, high = needed, max(needed, 1)
    while chance_of_enough(high, needed, share) < chance:
        low, high = high, 2 * high
        if high > MAX_SHELLS:
            raise ValueError(f"more than {MAX_SHELLS} shells would be needed")
    while low < high:
        middle = (low + high) // 2
        if chance_of_enough(middle, needed, share) >= chance:
            high = middle
        else:
            low = middle + 1
    return high


def chance_of_enough(shells: int, needed: int, share: GoodShare) -> float:
    """Probability that at least ``needed`` of ``shells`` are good; see `shells_to_pipe`."""
    from scipy import stats  # slow to import, and not every use of this module needs it

    if needed <= 0:
        return 1.0
    if shells < needed:
        return 0.0
    a, b = share.good + 0.5, share.baked - share.good + 0.5
    return float(stats.betabinom.sf(needed - 1, shells, a, b))


def scaled(
    recipe: Recipe, boxes: int, share: GoodShare | None, chance: float = DEFAULT_CHANCE
) -> Batch:
    """The recipe for ``boxes`` full boxes; without a measured yield every shell counts as good.

    Raises
    ------
    ValueError
        If ``boxes`` is not positive, or so many shells are needed that none could bake them.
    """
    if boxes < 1:
        raise ValueError(f"boxes must be at least 1, got {boxes}")
    needed = 2 * boxes * recipe.macarons_per_box
    if needed > MAX_SHELLS:
        raise ValueError(f"more than {MAX_SHELLS} shells would be needed")
    shells = needed if share is None else shells_to_pipe(needed, share, chance)
    batter = shells * recipe.batter_g_per_shell / (1 - recipe.lost_rel)
    factor = batter / recipe.batter_g
    return Batch(
        boxes=boxes,
        shells_needed=needed,
        shells=shells,
        trays=ceil(shells / recipe.shells_per_tray),
        batter_g=batter,
        boiled_off_g=recipe.boiled_off_g * factor,
        ingredients=tuple(
            (name, weight * factor, weight / recipe.egg_white_g)
            for name, weight in recipe.weights_g
        ),
        chance=None if share is None else chance_of_enough(shells, needed, share),
    )
