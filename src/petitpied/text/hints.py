"""What bakers usually take a pattern or a link for, and one thing to try: never a finding.

All of it is common practice without a source, unless a hint names one; a test holds that each
says which.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from petitpied.domain.shell import Shell
from petitpied.text.shell_faults import LUMPY_MM, SEEN_BROWNING
from petitpied.text.wording import printable

COMMON_PRACTICE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Hint:
    """``fact`` goes along with ``measure``, with this ``sign`` of the effect (0: either); what
    it is usually taken for, and one thing to try. ``level``: of a fact with several names or
    yes and no, "" for any."""

    fact: str
    measure: str
    sign: int
    text: str
    level: str = ""
    source: str = COMMON_PRACTICE


HINTS: tuple[Hint, ...] = (
    # cracks
    Hint("humidity", "cracks", 1, "damp air keeps the skin from drying: rest the shells until a "
         "finger no longer sticks, or dry the air"),
    Hint("rest time", "cracks", -1, "rested too short, a shell has no skin and cracks: rest until "
         "a finger no longer sticks"),
    Hint("rest time", "cracks", 1, "rested too long, a thick dry skin lifts off or cracks, and the "
         "batter under it weeps: stop as soon as a finger no longer sticks"),
    Hint("set temperature", "cracks", 1, "too hot an oven lifts the skin before the foot forms: "
         "try 5 to 10 °C lower"),
    Hint("thermometer", "cracks", 1, "the oven is hotter than it should be: go by the thermometer, "
         "not by the dial, and wait until it has held still for 15 minutes"),
    Hint("fan", "cracks", 1, "a strong fan dries and lifts the caps: try a lower fan, or none and "
         "15 to 20 °C more", level="on"),
    Hint("ribbon time", "cracks", 1, "a ribbon that stands long is batter folded too little, with "
         "air left in: fold a little more, and rap the tray"),
    Hint("ribbon time", "cracks", -1, "a ribbon that sinks at once is batter folded too much, and "
         "thin skins crack: stop folding earlier"),
    Hint("tray", "cracks", 1, "a doubled tray keeps the heat from below away, so the foot rises "
         "late: try one tray", level="doubled"),
    Hint("order of the tray", "cracks", 1, "later trays rest longer, and the oven loses heat with "
         "each opening of the door: let it come back to temperature, and open it quickly"),
    # feet
    Hint("fan", "lean", 1, "the fan's draught can push the feet to one side: try a lower fan",
         level="on"),
    Hint("rest time", "foot_spread", -1, "a skin that is too thin lets the foot splay out: rest "
         "them longer"),
    Hint("humidity", "foot_spread", 1, "shells that stay damp splay at the foot: rest them longer"),
    Hint("set temperature", "foot_spread", 1, "much heat from below drives the foot out: try 5 °C "
         "lower, or a doubled tray"),
    Hint("tray", "foot_spread", 0, "a doubled tray takes heat from below away, and feet get lower: "
         "keep to one or the other", level="doubled"),
    Hint("ribbon time", "foot_spread", -1, "thin batter, folded too much, makes splayed feet: stop "
         "folding earlier"),
    Hint("mat or parchment", "foot_spread", 0, "mats and papers differ: bake one tray on each"),
    Hint("meringue", "foot_spread", 0, "Italian and Swiss meringue rise less and evenly, French "
         "more: compare bakes of one kind"),
    # size and form
    Hint("ribbon time", "diameter", -1, "thin batter runs wide: stop folding earlier, or pipe "
         "smaller"),
    Hint("ribbon time", "roundness", 0, "too stiff a batter keeps the form that the nozzle gave, "
         "too thin a one runs: fold to the same ribbon each time"),
    Hint("flavour", "diameter", 0, "powders and pastes change how the batter runs: pipe that "
         "flavour a little smaller or larger"),
    Hint("colouring", "diameter", 0, "liquid colours thin the batter: use powder or gel"),
    Hint("piped by", "diameter", 0, "each hand stops at another size: use a piping sheet under the "
         "paper, and stop a little short of the line"),
    Hint("piped by", "piped_diameter", 0, "each hand stops at another size: use a piping sheet, "
         "and count the same seconds for each round"),
    Hint("age of the whites", "diameter", 0, "old whites are thinner: use whites of the same age"),
    Hint("meringue", "height", 0, "Italian and Swiss meringue keep more air than French: compare "
         "bakes of one kind"),
    # colour
    Hint("set temperature", "browning", 1, "shells brown when the top is too hot: try 5 to 10 °C "
         "lower, or one rack lower"),
    Hint("thermometer", "browning", 1, "shells brown when the oven is hotter than it should be: go "
         "by the thermometer, not by the dial"),
    Hint("bake time", "browning", 1, "longer in the oven is browner: try a minute less, and look "
         "whether the bottoms still come off"),
    Hint("flavour", "browning", 0, "light colours show browning that dark ones hide: compare with "
         "the same flavour only"),
    Hint("rack", "browning", 0, "racks differ in heat from above and below: bake on one rack"),
    Hint("order of the tray", "browning", 0, "the oven has not come back to its temperature, or "
         "has heated up: wait for the thermometer before each tray"),
    # what no photo shows, counted by hand
    Hint("ribbon time", "hollow", 0, "batter folded too little or beaten too stiff leaves large "
         "bubbles that make hollows: fold to the same ribbon, and rap the tray"),
    Hint("set temperature", "hollow", 1, "too hot an oven sets the cap before the inside has "
         "risen: try 5 to 10 °C lower, and longer"),
    Hint("bake time", "hollow", -1, "taken out too early the inside sinks: bake a minute or two "
         "longer"),
    Hint("bake time", "sticky", -1, "a bottom that sticks is not baked through: bake a minute or "
         "two longer, and peel when cold"),
    Hint("thermometer", "sticky", -1, "the oven is cooler than it should be: go by the "
         "thermometer"),
    Hint("tray", "sticky", 1, "a doubled tray takes heat from below away: one tray, or two minutes "
         "more", level="doubled"),
    Hint("mat or parchment", "sticky", 0, "mats and papers differ: bake one tray on each"),
    Hint("bake time", "tough", 1, "too long in the oven dries them: a minute less, and let them "
         "stand filled in the cold for a day"),
)  # fmt: skip

#: usual causes of a fault that is seen, in order, and one thing to try
FAULT_HINTS: tuple[Hint, ...] = (
    Hint("", "cracks", 0, "no skin yet, or too thick a one, air left in the batter, or too hot an "
         "oven: rest until a finger no longer sticks, rap the tray, go by the thermometer"),
    Hint("", "lopsided foot", 0, "a fan's draught, heat from one side, or a mat or paper that does "
         "not lie flat: fan lower, rest until they have a dry skin"),
    Hint("", "splayed foot", 0, "much heat from below, thin batter or too thin a skin: 5 °C lower, "
         "or rest them longer"),
    Hint("", "dimples", 0, "large bubbles that burst late, or a wet fingertip too heavy on a peak: "
         "rap the tray after piping and prick the bubbles"),
    Hint("", "peaks", 0, "batter folded too little, or the nozzle pulled straight up: fold until a "
         "peak sinks in 20 to 30 seconds, stop squeezing, then flick sideways"),
    Hint("", "missing foot", 0, "no skin, batter folded too much, or too little heat from below: "
         "rest until a finger no longer sticks; preheat with the thermometer in"),
    Hint("", "uneven browning", 0, "heat from one side or a fan: one rack lower, fan lower; an "
         "oven map shows whether it stays at one place"),
    Hint("", "lumps and pinholes", 0, "coarse almond flour, or air knocked out too little or all "
         "at once: sieve, fold, rap the tray, prick the bubbles"),
    Hint("", "hollow, sticky or tough", 0, "no photo shows these: break three of each tray, and "
         "log the count (--fact hollow=2)"),
)  # fmt: skip

#: what is tried for a pattern of the oven, by its kind
TRY_OVEN: dict[str, Hint] = {
    "across": Hint("", "across", 0, "turn the tray by half when half the time is over, and log "
                   "that (--fact turned_halfway=yes): such bakes are left out of later maps"),
    "front-back": Hint("", "front-back", 0, "turn the tray by half when half the time is over, and "
                       "log that (--fact turned_halfway=yes); open the door quickly and seldom; "
                       "look at its seal with the oven off and cold"),
    "centre-edge": Hint("", "centre-edge", 0, "use a heavier tray or a second one under it, and "
                        "one rack lower, one at a time"),
    "spot": Hint("", "spot", 0, "pipe no shells at that place in the next bake; with the oven off "
                 "and cold look whether anything stands in the way of the air there, and leave "
                 "heaters and fan to a technician; no loose foil near a fan"),
    "lean": Hint("", "lean", 0, "take the fan down a step or off, or let the shells rest until "
                 "they have a dry skin"),
}  # fmt: skip
#: the same for what the hand did before the oven came into play
TRY_HAND = Hint("", "piped", 0, "this is piped, not baked: lay a piping sheet under the paper, "
                "keep the bag upright, and stop a little short of the line")  # fmt: skip
PIPED_MEASURES = ("piped_diameter",)


def hint_for(fact: str, level: str, measure: str, effect: float) -> Hint | None:
    """The hint for a fact that goes along with a measure, where there is such a thing."""
    for hint in HINTS:
        same = hint.fact == fact and hint.measure == measure and hint.level in ("", level)
        if same and hint.sign * effect >= 0:
            return hint
    return None


def try_for(measure: str, kind: str) -> Hint:
    """What to try for a pattern of a measure."""
    return TRY_HAND if measure in PIPED_MEASURES else TRY_OVEN[kind]


#: one shell may have any fault by chance: told from so many on (common practice, no source)
LEAST_SHELLS = 2
#: a foot so much wider on one side is seen, mm; and one that reaches out so far on all sides
#: (common practice, no source)
LOPSIDED_MM, SPLAYED_MM = 1.5, 2.5
MOST_NAMED = 12


def _surely_above(name: str, limit: float) -> Callable[[Shell], bool]:
    def test(shell: Shell) -> bool:
        quantity = shell.quantity(name)
        return quantity is not None and quantity.value - quantity.u95 > limit

    return test


def _uneven(shell: Shell) -> bool:
    brown = shell.surface.browning
    return brown is not None and abs(brown.value) - 1.96 * brown.u_own > SEEN_BROWNING


#: by what a fault's hint is called
_HAS: Mapping[str, Callable[[Shell], bool]] = {
    "cracks": lambda s: bool(s.surface.cracks),
    "dimples": lambda s: bool(s.surface.dimples),
    "peaks": lambda s: s.surface.peak is not None,
    "missing foot": lambda s: s.surface.foot is not None and s.surface.foot.state == "none",
    "lopsided foot": _surely_above("lean_mm", LOPSIDED_MM),
    "splayed foot": _surely_above("foot_spread_mm", SPLAYED_MM),
    "uneven browning": _uneven,
    "lumps and pinholes": lambda s: (
        bool(s.surface.pinholes) or _surely_above("lumpiness_mm", LUMPY_MM)(s)
    ),
}


def faults_to_try(shells: Sequence[Shell]) -> Iterator[tuple[str, str]]:
    """The tray's faults with their shells, as in "Dimples (E1, F3)", and what to try; the most
    frequent first. What no photo shows comes last, once there is anything else."""
    found = {name: [s.id for s in shells if has(s)] for name, has in _HAS.items()}
    told = sorted(FAULT_HINTS, key=lambda hint: -len(found.get(hint.measure, ())))
    anything = False
    for hint in told:
        ids = found.get(hint.measure, [])
        if len(ids) < LEAST_SHELLS:
            continue
        anything = True
        more = f" and {len(ids) - MOST_NAMED} more" if len(ids) > MOST_NAMED else ""
        title = f"{_capital(hint.measure)} ({', '.join(ids[:MOST_NAMED])}{more})"
        yield printable(title), f"{hint.text} ({hint.source})"
    if anything:
        unseen = next(hint for hint in FAULT_HINTS if hint.measure not in _HAS)
        yield _capital(unseen.measure), f"{unseen.text} ({unseen.source})"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
