"""Our fonts: which scripts they cover, and what stays without a font, said in words.

The fonts are Noto (SIL Open Font License, `figures/fonts/OFL.txt`), cut to the letters named there.
"""

import unicodedata
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache
from importlib.resources import as_file, files
from pathlib import Path

#: what shows scripts beyond the base font's Latin, Greek and Cyrillic, by block of Unicode:
#: family to file and (first, last) code points
SCRIPTS: dict[str, tuple[str, tuple[tuple[int, int], ...]]] = {
    "Arabic": (
        "NotoSansArabic-Regular.ttf",
        ((0x0600, 0x06FF), (0x0750, 0x077F), (0x08A0, 0x08FF), (0xFB50, 0xFDFF), (0xFE70, 0xFEFE)),
    ),
    "Hebrew": ("NotoSansHebrew-Regular.ttf", ((0x0590, 0x05FF), (0xFB1D, 0xFB4F))),
    "Thai": ("NotoSansThai-Regular.ttf", ((0x0E00, 0x0E7F),)),
    "Devanagari": ("NotoSansDevanagari-Regular.ttf", ((0x0900, 0x097F), (0xA8E0, 0xA8FF))),
    "Japanese": (
        "NotoSansJP-Regular.ttf",
        ((0x2E80, 0x312F), (0x31F0, 0x9FFF), (0xF900, 0xFAFF), (0xFF00, 0xFFEF)),
    ),
    "Emoji": (
        "NotoEmoji-Regular.ttf",
        ((0x231A, 0x23FF), (0x2600, 0x27BF), (0x2B00, 0x2BFF), (0x1F000, 0x1FAFF)),
    ),
}
BASE = "NotoSans-Regular.ttf"
BOLD = "NotoSans-Bold.ttf"
#: join, or choose the look of, their neighbours; no font needs a shape for them
INVISIBLE = frozenset("\u200c\u200d\ufe0e\ufe0f")
REPLACEMENT = "?"
#: up to here (Latin, its accents) the base font has every letter: no look-up needed
LAST_PLAIN = 0x024F


def font_path(name: str) -> Path:
    """A font's file; the package is installed as plain files."""
    with as_file(files("petitpied.figures.fonts").joinpath(name)) as path:
        return Path(path)


@cache
def letters_of(name: str) -> frozenset[int]:
    """Code points that a font of ours has a shape for."""
    from fontTools.ttLib import TTFont

    with TTFont(font_path(name), lazy=True) as font:
        return frozenset(font.getBestCmap())


def families_for(text: str) -> tuple[str, ...]:
    """Families of `SCRIPTS` that a text needs beside the base font."""
    beyond = {ord(c) for c in text} - letters_of(BASE)
    return tuple(
        family
        for family, (_, blocks) in SCRIPTS.items()
        if any(low <= code <= high for code in beyond for low, high in blocks)
    )


def font_runs(text: str) -> tuple[tuple[str, str], ...]:
    """Parts of a line and the font file that shows each; unknown letters stay with the base."""
    if all(ord(c) <= LAST_PLAIN for c in text):
        return ((text, BASE),)
    fonts = [BASE, *(SCRIPTS[family][0] for family in families_for(text))]
    runs: list[tuple[str, str]] = []
    for letter in text:
        before = runs[-1][1] if runs else BASE
        if letter in INVISIBLE or letter == " ":
            name = before
        else:
            name = next((f for f in fonts if ord(letter) in letters_of(f)), BASE)
        if runs and name == before:
            runs[-1] = (runs[-1][0] + letter, name)
        else:
            runs.append((letter, name))
    return tuple(runs)


@dataclass(frozen=True)
class Shown:
    """Cleans a text of letters that no font at hand can show, and knows which were lost."""

    clean: Callable[[str], str]
    lost: tuple[str, ...]  # scripts, by Unicode's names


def showable(texts: Iterable[str]) -> Shown:
    """For all texts of a document."""
    whole = "".join(texts)
    names = [BASE, *(SCRIPTS[family][0] for family in families_for(whole))]
    known = frozenset().union(*(letters_of(name) for name in names))
    missing = {c for c in whole if ord(c) not in known and c not in INVISIBLE}
    missing -= set("\n")
    table = {ord(c): REPLACEMENT for c in missing}
    scripts = sorted({_script(c) for c in missing})
    return Shown(lambda text: text.translate(table), tuple(scripts))


def _script(letter: str) -> str:
    """First word of the letter's name in Unicode, which is its script's: "HANGUL"."""
    name = unicodedata.name(letter, "")
    return name.split()[0].capitalize() if name else "unknown letters"
