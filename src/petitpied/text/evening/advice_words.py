"""Why a shell is no top in three words, and what to change next in a sentence."""

from petitpied.evening.advice import Advice
from petitpied.evening.answer import Fault
from petitpied.text.hints import TRY_HAND, try_for
from petitpied.text.lots.verdict_words import spoken
from petitpied.text.wording import counted, rounded

#: a shell's fault in three words at most, by the limit's name and the side it is broken on
FAULTS = {
    ("diameter_mm", "above"): "too large",
    ("diameter_mm", "below"): "too small",
    ("cap_diameter_mm", "above"): "cap too wide",
    ("cap_diameter_mm", "below"): "cap too narrow",
    ("foot_diameter_mm", "above"): "foot too wide",
    ("foot_diameter_mm", "below"): "foot too narrow",
    ("feret_min_mm", "below"): "too narrow",
    ("feret_max_mm", "above"): "too long",
    ("height_mm", "above"): "too high",
    ("height_mm", "below"): "too flat",
    ("roundness_mm", "above"): "not round",
    ("aspect_ratio", "below"): "oval",
    ("circularity", "below"): "not round",
    ("foot_spread_mm", "above"): "splayed foot",
    ("foot_spread_mm", "below"): "foot drawn in",
    ("lopsided_mm", "above"): "lopsided foot",
    ("one_sided_foot_mm", "above"): "one-sided foot",
    ("uneven_foot_mm", "above"): "uneven foot",
    ("foot_shows", "below"): "foot hardly shows",
    ("foot_missing", "above"): "no foot",
    ("foot_hidden", "above"): "foot hidden",
    ("crack_length_mm", "above"): "cracked",
    ("dimples", "above"): "dimple",
    ("peaks", "above"): "peak",
    ("pinholes", "above"): "dark specks",
    ("lumpiness_mm", "above"): "lumpy",
    ("browning", "above"): "too brown",
    ("browning", "below"): "too pale",
    ("edge_browning", "above"): "brown edge",
    ("edge_browning", "below"): "pale edge",
}
#: what to try for a fault that many shells have: common practice, no source
TRY_FAULT = {
    "crack_length_mm": "rest the shells until a finger no longer sticks",
    "dimples": "rap the tray after piping and prick the bubbles",
    "peaks": "fold a little more, stop squeezing, then flick the nozzle sideways",
    "lopsided_mm": "hold the bag upright and take the fan down a step",
    "one_sided_foot_mm": "take the fan down a step",
    "uneven_foot_mm": "rest the shells until a finger no longer sticks",
    "foot_spread_mm": "stop folding earlier, or rest the shells longer",
    "foot_missing": "rest until a finger no longer sticks, and preheat with the thermometer in",
    "foot_hidden": "rest until a finger no longer sticks, and preheat with the thermometer in",
    "roundness_mm": "hold the bag upright, and pipe on a sheet with rounds",
    "aspect_ratio": "hold the bag upright, and pipe on a sheet with rounds",
    "lumpiness_mm": "sieve almond and sugar finer, and rap the tray",
    "pinholes": "sieve almond and sugar finer, and rap the tray",
    "browning": "set the oven 5 °C lower, or bake one rack lower",
    "edge_browning": "bake one rack lower, or on a doubled tray",
}
TRY_PALE = "bake a minute longer, or set the oven 5 °C higher"


def fault_words(fault: Fault) -> str:
    """Why a shell is no top, in three words at most; a question mark where it may be so."""
    reason = fault.reason
    if reason.kind == "missing":
        what = "not measured" if reason.name == "shell" else f"{spoken(reason.name)} unknown"
        return f"({what})"
    word = FAULTS.get((reason.name, reason.side or "above"), spoken(reason.name))
    return f"({word}{'?' if reason.kind == 'near' else ''})"


def advice_words(advice: Advice) -> str:
    """One thing, why, and how sure that is."""
    return {
        "photo": _photo_words,
        "size": _size_words,
        "spread": _spread_words,
        "oven": _oven_words,
        "fault": _fault_advice,
        "nothing": _nothing_words,
    }[advice.kind](advice)


def _photo_words(advice: Advice) -> str:
    return (
        f"stand back to 700 mm and zoom in; from {advice.camera_mm or 0:.0f} mm, "
        f"{advice.shells} of {advice.of} shells are too near a limit to tell (measured)."
    )


def _size_words(advice: Advice) -> str:
    way = "smaller" if advice.off_mm > 0 else "larger"
    mean = "" if advice.mean_mm is None else rounded(advice.mean_mm)
    return (
        f"pipe {advice.flavour} {abs(advice.off_mm):.1f} mm {way}; it came out {mean} mm, you want "
        f"{advice.target_mm or 0:g} mm (measured on {counted(advice.of, 'shell')})."
    )


def _spread_words(advice: Advice) -> str:
    return (
        f"pipe on a sheet with rounds (petitpied template); {advice.shells} of {advice.of} shells "
        "are too large or too small (common practice)."
    )


def _oven_words(advice: Advice) -> str:
    oven = advice.oven
    if oven is None:
        return ""
    if not oven.turned and oven.kind != "centre-edge" and oven.measure != "piped_diameter":
        return (
            "put the tray in turned by half at every second bake; that tells the oven from your "
            f"hand (sure: chance alone does as much in {_chance(oven.chance)} bakes like these)."
        )
    hint = TRY_HAND if oven.measure == "piped_diameter" else try_for(oven.measure, oven.kind)
    return f"{hint.text} (the oven's pattern is sure, the cure is common practice)."


def _chance(chance: float) -> str:
    return f"{max(1, round(1000 * chance))} of 1,000"


def _fault_advice(advice: Advice) -> str:
    word = FAULTS.get((advice.name, advice.side or "above"), spoken(advice.name))
    pale = advice.name == "browning" and advice.side == "below"
    what = TRY_PALE if pale else TRY_FAULT.get(advice.name, f"look into it: {word}")
    return (
        f"{what}; {advice.shells} of {advice.of} shells have the fault: {word} (common practice, "
        "not sure)."
    )


def _nothing_words(advice: Advice) -> str:
    oven = advice.oven
    if oven is not None and oven.bakes < 6:
        return f"bake the same again; {6 - oven.bakes} more bakes can show the oven's pattern."
    return "change nothing: no fault stands out in this evening's shells."
