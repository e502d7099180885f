"""Changes of bytes, of JSON's structure and of text, each drawn from a seeded `random.Random`."""

import copy
import json

#: strings that are read as something else somewhere: formulas (as in OWASP's list of CSV
#: injection) and markup (as in its list of cross-site scripting), both from memory; paths,
#: controls, directions
STRANGE_TEXTS = (
    '=HYPERLINK("http://x.example","a")', "=1+1", "+1+1", "-2+3", "@SUM(1)", "\t=1", "\r=1", "'=1",
    "=cmd|' /C calc'!A0", "<script>alert(1)</script>", '"><img src=x onerror=alert(1)>',
    "<svg/onload=alert(1)>", "javascript:alert(1)",
    "</title><b>", "{{7*7}}", "{% raw %}", "${7*7}",
    "../../etc/passwd", "..\\..\\x", "/dev/zero", "C:\\x", "con", "nul.json", "a\0b", "\x1b[2J",
    "\x07",
    "\u202egpj.exe", "\u2066x\u2069", "\u200b", "\ufeff", "\ud800", "\udfff\ud800",
    "e\u0301" * 40, "x" * 2001,
    "x" * 300_000,
    "🍪" * 50, "عربي", "日本", "", " ", "\n\n", "%s%n", "1e999", "NaN", "None", "null",
    "true",
    "'; DROP TABLE petitpied_bake; --", "A1", "a1", "B3",
)  # fmt: skip
STRANGE_NUMBERS = (
    0, -0.0, -1, 1, 2**31, -(2**63), 2**64, 10**30, 1e-300, 1e12, 1e300, -1e300, 174.5, -42.0,
    0.5, 1000001, 4503599627370497, True,
)  # fmt: skip
#: as raw JSON, for what Python's writer would not write
RAW_NUMBERS = (
    "NaN",
    "Infinity",
    "-Infinity",
    "1e999",
    "-1e999",
    "1" * 400,
    "0." + "3" * 400,
    "1E+400",
)
PLACEHOLDER = "\u0001raw"


def some_value(random):
    """Any JSON value, strange more often than not."""
    kind = random.randrange(9)
    if kind < 3:
        return random.choice(STRANGE_TEXTS)
    if kind < 5:
        return random.choice(STRANGE_NUMBERS)
    if kind == 5:
        return PLACEHOLDER + random.choice(RAW_NUMBERS)
    return random.choice(([], {}, None, [[]], [None] * 3, {"": ""}, [0.0, 0.0], [1e6] * 3, False))


def places(value, at=()):
    """Every place of a parsed JSON value, as a path of keys; outlines give some of their points."""
    yield at
    if isinstance(value, dict):
        for key in value:
            yield from places(value[key], (*at, key))
    elif isinstance(value, list):
        for index in range(min(len(value), 6)):
            yield from places(value[index], (*at, index))


def reach(value, path):
    for key in path:
        value = value[key]
    return value


def changed_json(value, random):
    """A copy of a parsed JSON value with one to four changes of structure."""
    value = copy.deepcopy(value)
    for _ in range(random.choice((1, 1, 1, 2, 4))):
        found = [p for p in places(value) if p]
        if not found:
            return value
        path = random.choice(found)
        _change(reach(value, path[:-1]), path[-1], value, random)
    return value


def _change(parent, key, whole, random):
    old = parent[key]
    act = random.randrange(11)
    if act == 0:
        del parent[key]
    elif act == 1 and isinstance(parent, list):
        parent.extend([old] * random.choice((1, 3, 700, 3000)))
    elif act == 2 and isinstance(parent, dict):
        parent[random.choice(STRANGE_TEXTS)] = old
    elif act == 3:
        for _ in range(random.choice((1, 40, 900))):
            old = [old] if isinstance(old, list) else {"x": old}
        parent[key] = old
    elif act == 4:
        parent[key] = copy.deepcopy(reach(whole, random.choice([p for p in places(whole) if p])))
    elif act in (5, 6) and isinstance(old, int | float) and not isinstance(old, bool):
        parent[key] = old * random.choice((-1, 0, 1e-9, 1.0001, 10, 1e6, 1e11, 4.2))
    elif act == 7 and isinstance(old, str):
        cut = random.randrange(len(old) + 1)
        parent[key] = old[:cut] + random.choice(STRANGE_TEXTS) + old[cut:]
    elif act == 8 and isinstance(parent, list) and len(parent) > 1:
        random.shuffle(parent)
    else:
        parent[key] = some_value(random)


def json_bytes(value, random):
    """JSON text of a changed value, numbers that are none among it."""
    try:
        text = json.dumps(value, ensure_ascii=random.random() < 0.5)
    except RecursionError:  # too deep for Python's own writer, which is what a reader must bear
        text = '{"schema": ' + "[" * 5000 + "]" * 5000 + "}"
    for raw in RAW_NUMBERS:
        for shown in (
            json.dumps(PLACEHOLDER + raw),
            json.dumps(PLACEHOLDER + raw, ensure_ascii=False),
        ):
            text = text.replace(shown, raw)
    return text.encode("utf-8", "surrogatepass")


def changed_bytes(data, random, most=8):
    """Bytes flipped, cut, moved, filled or doubled: what disks, cables and tinkerers do."""
    data = bytearray(data)
    for _ in range(random.choice((1, 1, 2, most))):
        if not data:
            return bytes(random.randbytes(random.choice((0, 1, 16))))
        at = random.randrange(len(data))
        # headers are short and matter: half of all changes go to the first kilobyte
        at = min(at, random.randrange(1024)) if random.random() < 0.5 else at
        length = random.choice((1, 2, 4, 8, 64, 4096, len(data) // 3))
        act = random.randrange(8)
        if act == 0:
            del data[at:]
        elif act == 1:
            del data[at : at + length]
        elif act == 2:
            data[at:at] = random.randbytes(min(length, 4096))
        elif act == 3:
            data[at:at] = data[at : at + min(length, 65536)] * random.choice((1, 2, 30))
        elif act == 4:
            data[at : at + length] = bytes([random.choice((0, 255))]) * len(data[at : at + length])
        elif act == 5:
            number = random.choice((0, 1, 0x7F, 0x80, 0xFF, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0xFFFFFFFF))
            width = random.choice((1, 2, 4))
            order = random.choice(("big", "little"))
            data[at : at + width] = (number % 256**width).to_bytes(width, order)
        else:
            data[at] ^= 1 << random.randrange(8)
    return bytes(data)


def changed_text(text, random, snippets=()):
    """Lines and characters of a text file moved about, doubled, or replaced by strange ones."""
    for _ in range(random.choice((1, 1, 2, 5))):
        lines = text.split("\n")
        act = random.randrange(7)
        row = random.randrange(len(lines))
        if act == 0:
            del lines[row]
        elif act == 1:
            lines[row:row] = [lines[row]] * random.choice((1, 2, 500))
        elif act == 2:
            random.shuffle(lines)
        elif act == 3 and snippets:
            lines[row:row] = [random.choice(snippets)]
        else:
            line = lines[row]
            first, last = sorted(random.randrange(len(line) + 1) for _ in range(2))
            new = random.choice(
                (*STRANGE_TEXTS, *map(str, STRANGE_NUMBERS), *RAW_NUMBERS, '"', ",", "=")
            )
            lines[row] = line[:first] + new + line[last:]
        text = "\n".join(lines)
    if random.random() < 0.1:
        return changed_bytes(text.encode("utf-8", "surrogatepass"), random)
    encoding = random.choice(("utf-8", "utf-8", "utf-8", "utf-8-sig", "utf-16"))
    return text.encode(encoding, "surrogatepass")
