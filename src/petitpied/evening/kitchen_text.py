"""`kitchen.toml` as it is first written, from a few answers: with a remark for every line."""

from dataclasses import dataclass

from petitpied.piping.forms import Form
from petitpied.sorting.limits import LIMITABLE, Limit, Limits
from petitpied.sorting.starter_limits import USUAL, usual_limits

#: a slot is wider than a shell by this much, where nothing else is said (common practice, no
#: source): a finger's tip, and the spread of sizes
SLOT_ROOM_MM = 5.0
#: limits that make no sense for a shell that is not meant to be round
ROUND_ONLY = ("roundness_mm",)


@dataclass(frozen=True)
class Answers:
    """What `petitpied setup` asks, with the answers that it offers."""

    name: str = ""
    paper: str = "a4"
    oven: str = "oven"
    racks: tuple[str, ...] = ()
    tray_mm: tuple[float, float] = (420.0, 320.0)
    form: Form = Form.round
    target_mm: float = 45.0
    tolerance_mm: float = 2.0
    slots: int = 6
    slot_mm: float | None = None  # None: as wide as the target and `SLOT_ROOM_MM`
    flavours: tuple[str, ...] = ()

    @property
    def slot_pitch_mm(self) -> float:
        return self.target_mm + SLOT_ROOM_MM if self.slot_mm is None else self.slot_mm


def limits_for(target_mm: float, tolerance_mm: float, form: Form = Form.round) -> Limits:
    """The trade's usual limits about a target, with the baker's own tolerance of size."""
    usual = usual_limits(target_mm)
    wider = max(tolerance_mm + 0.5, 2.5)

    def fitted(limits: tuple[Limit, ...], tolerance: float) -> tuple[Limit, ...]:
        low, high = target_mm - tolerance, target_mm + tolerance
        size = Limit("diameter_mm", low, high, target_mm)
        others = [x for x in limits if x.name != "diameter_mm"]
        return (size, *(x for x in others if form is Form.round or x.name not in ROUND_ONLY))

    return Limits(usual.risk, fitted(usual.tops, tolerance_mm), fitted(usual.bottoms, wider))


def kitchen_text(answers: Answers) -> str:
    """The whole file."""
    limits = limits_for(answers.target_mm, answers.tolerance_mm, answers.form)
    return "\n".join(
        [
            *_HEAD,
            _setting(f"paper = {_quoted(answers.paper)}", "of your printer: a4 or letter"),
            _setting(f"form = {_quoted(answers.form.value)}", "of your shells: round, oval, heart"),
            _setting(f"flavours = {_list(answers.flavours)}", "found in names of folders, photos"),
            "",
            "[oven]",
            _setting(f"name = {_quoted(answers.oven)}", "as the history shall call it"),
            _setting(f"racks = {_list(answers.racks)}", "from the top down; [] if there is one"),
            "",
            "[tray]   # inside, from rim to rim",
            _setting(f"width_mm = {answers.tray_mm[0]:g}", "along the oven door"),
            _setting(f"depth_mm = {answers.tray_mm[1]:g}", "from the door to the back"),
            "",
            *_FACTS,
            "",
            *_limit_lines(limits),
            "",
            *_box_lines(answers),
            "",
            "[letterhead]   # head of reports and labels",
            _setting(f"name = {_quoted(answers.name)}", "your name; \"\" for none"),
            _setting("lines = []", 'as in ["Mill Lane 3", "Open on Saturdays"]'),
            _setting('foot = ""', "last line of a report"),
            _setting('# picture = "NAME.png"', "PNG or JPEG beside this file, at most 5 MB"),
            "",
        ]
    )


_HEAD = (
    "# petitpied: your kitchen, written by `petitpied setup`. Change whatever you like; what",
    "# stands after # is a remark. `petitpied setup --check` says whether all is well.",
    "# Lengths are in millimetres, numbers without their unit.",
    "version = 1",
    "",
)
_FACTS = (
    "[facts]   # what is the same at every bake. What differs is asked, or stands in bake.toml",
    "          # beside the photos. Take away the # to use a line.",
    "# set_temperature = 150   # degrees Celsius",
    "# fan = true",
    '# liner = "parchment"',
    "# rest_minutes = 40",
)
_LIMITS_HEAD = (
    "[limits]   # which shells are good",
    "# At most this chance that a shell called good is not. Nearer to a limit than the photo can",
    "# tell is for your eye. Smaller: more of these. From 0.001 to 0.5.",
)


def _limit_lines(limits: Limits) -> list[str]:
    lines = [*_LIMITS_HEAD, f"risk = {limits.risk:g}", ""]
    lines.append("[limits.top]   # the upper half, which the guest sees")
    lines += [_limit_line(limit, USUAL[limit.name].remark) for limit in limits.tops]
    lines += ["", "[limits.bottom]   # the lower half; what is worse is crumbs"]
    return lines + [_limit_line(limit, "") for limit in limits.bottoms]


def _limit_line(limit: Limit, remark: str) -> str:
    if limit.target is not None and limit.high is not None:
        inside = f"target = {limit.target:.1f}, tolerance = {limit.high - limit.target:.1f}"
    else:
        places = 0 if LIMITABLE[limit.name].counted else 2
        known = [(key, v) for key, v in (("min", limit.low), ("max", limit.high)) if v is not None]
        inside = ", ".join(f"{key} = {round(v, places):g}" for key, v in known)
    line = f"{limit.name:<17} = {{ {inside} }}"
    return f"{line:<54} # {remark}" if remark else line


def _box_lines(answers: Answers) -> list[str]:
    columns = min(answers.slots, 3)
    pitch = answers.slot_pitch_mm
    return [
        "[box]   # your gift box",
        _setting(f'name = "Box of {answers.slots}"', ""),
        _setting(f"slots = {answers.slots}", "macarons in a box"),
        _setting(f"columns = {columns}", "side by side, for the picture"),
        _setting(f"slot_pitch_mm = {pitch:g}", "from the middle of a slot to that of the next"),
        _setting("clearance_mm = 1.0", "room wanted beside a macaron"),
        _setting('flavours = "one"', '"one", "any", or as { rose = 3, lemon = 3 }'),
        _setting("# even_range_mm = 1.5", "no box whose sizes differ by more"),
        _setting("# slot_depth_mm = 30", "room for the thickness of a macaron, and the"),
        _setting("# filling_height_mm = 5", "filling's height: the check needs both"),
    ]


def _setting(text: str, remark: str) -> str:
    return f"{text:<34} # {remark}" if remark else text


def _quoted(text: str) -> str:
    """A TOML basic string."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else "?" for c in escaped) + '"'


def _list(names: tuple[str, ...]) -> str:
    return f"[{', '.join(_quoted(name) for name in names)}]"
