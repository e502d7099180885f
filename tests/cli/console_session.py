"""Sessions in the handbook: commands after "$ ", what they print below; "..." stands for any lines.

Words must agree to the letter, numbers roughly: other machines and versions of libraries move
last digits, and measuring is judged elsewhere. So the page leaves out lines whose numbers turn on a
shell near a limit.
"""

import re
from dataclasses import dataclass

#: numbers agree within a tenth of their size, or within 2
REL, ABS = 0.1, 2.0
NUMBER = re.compile(r"\d+(?:\.\d+)?")


@dataclass(frozen=True)
class Told:
    """One command, and the lines that the page shows of its output."""

    command: str
    lines: tuple[str, ...]


def sessions(text):
    """All commands of fenced blocks that begin with "$ ", in order."""
    told = []
    for block in re.findall(r"```\n(\$ .*?)```", text, flags=re.DOTALL):
        for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            command, *lines = part.rstrip("\n").split("\n")
            told.append(Told(command, tuple(lines)))
    return tuple(told)


def same_line(shown, printed):
    """Whether two lines say the same, numbers apart a little."""
    if NUMBER.sub("#", shown) != NUMBER.sub("#", printed):
        return False
    pairs = zip(NUMBER.findall(shown), NUMBER.findall(printed), strict=True)
    return all(abs(float(a) - float(b)) <= max(ABS, REL * float(a)) for a, b in pairs)


def disagreement(shown, printed):
    """The first line of ``shown`` that ``printed`` lacks at its place; None where all agree."""
    at, free = 0, False
    for line in shown:
        if line == "...":
            free = True
            continue
        places = range(at, len(printed)) if free else range(at, min(at + 1, len(printed)))
        found = next((i for i in places if same_line(line, printed[i])), None)
        if found is None:
            return line
        at, free = found + 1, False
    return None if free or at == len(printed) else f"(more was printed: {printed[at]})"
