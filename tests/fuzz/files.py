"""Attacks by files that are read whole: records, archives, TOML, CSV and databases.

Each kind is a function of a seeded `random.Random` and an empty folder: it writes the files and
returns the command that reads them.
"""

import io
import json
import shutil
import sqlite3
import zipfile
from functools import cache
from pathlib import Path

from petitpied.files.records.record_files import record_bytes
from petitpied.history.store import open_store
from tests.fuzz.mutate import STRANGE_TEXTS, changed_bytes, changed_json, changed_text, json_bytes
from tests.history.bakes import log_bake, round_sizes, with_sha
from tests.records import a_record, relative_record, unmeasured_shell

LIMITS = "[limits.diameter_mm]\nlow = 40\nhigh = 44\n"


@cache
def bases():
    """Parsed records to start from: whole, without millimetres, with a shell not measured."""
    odd = a_record((*a_record().shells[:5], unmeasured_shell()))
    return [json.loads(record_bytes(r)) for r in (a_record(), odd, relative_record())]


def good_record(folder, number=99, name="good.json"):
    (folder / name).write_bytes(with_sha(record_bytes(a_record()), number))
    return folder / name


def records(random, folder):
    """A damaged record, alone or beside a good one, in one of the commands that read records."""
    base = random.choice(bases())
    if random.random() < 0.85:
        data = json_bytes(changed_json(base, random), random)
    else:
        data = changed_bytes(json.dumps(base).encode(), random)
    bad = folder / "tray.json"
    bad.write_bytes(data)
    (folder / "limits.toml").write_text(starter("limits"))
    (folder / "box.toml").write_text(starter("box"))
    out = folder / "out"
    limits = ("--limits", folder / "limits.toml")
    db = ("--db", folder / "h.sqlite")
    commands = (
        (8, lambda: ("sort", bad, *limits, "--out", out, "--json")),
        (6, lambda: ("pair", bad, "--json")),
        (4, lambda: ("box", bad, "--box", folder / "box.toml", "--json", "--time-limit", 1)),
        (8, lambda: ("log", bad, "--oven", "Deck", *db)),
        (4, lambda: ("report", bad, "--text")),
        (4, lambda: ("review", bad, "--set", "A1.crack=no", "--rest", "foot=yes")),
        (4, lambda: ("agreement", bad)),
        (3, lambda: ("repeatability", bad, good_record(folder), "--out", out)),
        (3, lambda: ("template", "--target", 45, "--from", bad, "--out", out)),
        (3, lambda: ("flavour", "add", "rose", "--from", bad)),
        (1, lambda: ("sort", bad, good_record(folder), *limits, "--out", out)),
        (1, lambda: ("pair", bad, good_record(folder), "--out", out)),
        (0.3, lambda: ("report", bad, *limits, "--pair", "--out", out)),
    )  # fmt: skip
    weights = [weight for weight, _ in commands]
    return random.choices([make for _, make in commands], weights)[0]()


@cache
def starter(name):
    """The program's own starter file."""
    from petitpied.cli.lots.limits_job import usual_starter
    from petitpied.sorting.box_file import STARTER as BOX

    return {"box": BOX, "limits": usual_starter().text}[name]


FACTS = (
    "record,oven,rack,turn,at,set_temperature,fan,mat,rest_minutes,humidity,flavour,batch,note\n"
    "good.json,Deck,top,0,2026-03-08T09:15,150,yes,parchment,30,45%,rose,b1,=1+1\n"
    "two.json,Deck,low,180,2026-03-09T09:15+01:00,150.5,no,mat,31,0.4,rose,b2,ok\n"
)
STUDY = "record,person,phone\ngood.json,Ann,one\ntwo.json,Ben,one\nthree.json,Ann,two\n"


def tables(random, folder):
    """A damaged table of facts or of a study."""
    for number, name in enumerate(("good.json", "two.json", "three.json")):
        good_record(folder, number, name)
    if random.random() < 0.6:
        (folder / "facts.csv").write_bytes(changed_text(FACTS, random))
        return ("log", "--facts", folder / "facts.csv", "--db", folder / "h.sqlite")
    (folder / "study.csv").write_bytes(changed_text(STUDY, random))
    return ("repeatability", "--study", folder / "study.csv", "--out", folder / "out")


SNIPPETS = (
    "[limits]", "[[boxes]]", "a = [[[[[[]]]]]]", "a" * 3000 + " = 1", "x = 1979-05-27T07:32:00Z",
    "diameter_mm = { low = nan, high = inf }", "x = 0xFFFFFFFFFFFFFFFFFFFF",
    'oven = "\\u0000"',
    "rows = 99999999", "columns = -1", "count = 1e9", "picture = '/dev/zero'",
    "picture = '../x.png'",
    "lines = ['" + "y" * 5000 + "']", "a." * 3000 + "b = 1", "yolks_g = 1",
    "shells = 10_000_000",
)  # fmt: skip
LETTERHEAD = 'name = "Lise\'s kitchen"\nlines = ["Back door, bell 2"]\n'
BAKE_TOML = (
    'oven = "Deck"\nrack = "top"\nset_temperature = 150\n[good]\nhumidity = 45\nfan = true\n'
)


def tomls(random, folder):
    """A damaged file of the baker's own, in the command that reads it."""
    from petitpied.files.own.recipe_file import STARTER as RECIPE

    record = good_record(folder)
    own = folder / "own.toml"
    (folder / "limits.toml").write_text(starter("limits"))
    cases = (
        (starter("limits"), ("limits", own)),
        (starter("limits"), ("sort", record, "--limits", own, "--json")),
        (starter("box"), ("box", record, "--box", own, "--json", "--time-limit", 1)),
        (RECIPE, ("batch", own, "--boxes", 3)),
        (LETTERHEAD, ("report", record, "--letterhead", own, "--text")),
        (BAKE_TOML, ("log", record, "--db", folder / "h.sqlite")),
    )
    text, command = random.choice(cases)
    own = folder / "bake.toml" if text is BAKE_TOML else own
    own.write_bytes(changed_text(text, random, SNIPPETS))
    return command


@cache
def history_bytes():
    """A history of four bakes, as its file."""
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "h.sqlite"
        store = open_store(str(path))
        for n in range(4):
            log_bake(store, n, round_sizes(42 + n / 10), rack="top", flavour="rose")
        return path.read_bytes()


@cache
def archive_parts():
    """The parts of an exported archive."""
    import tempfile

    from petitpied.history.exchange import write_archive

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "h.sqlite"
        path.write_bytes(history_bytes())
        store = open_store(str(path))
        stream = io.BytesIO()
        write_archive(store, store.facts(), stream)
    with zipfile.ZipFile(stream) as packed:
        return {name: packed.read(name) for name in packed.namelist()}, stream.getvalue()


def archives(random, folder):
    """A damaged archive: its bytes, its parts, their names, what they unpack to."""
    parts, whole = archive_parts()
    path = folder / "all.zip"
    if random.random() < 0.4:
        path.write_bytes(changed_bytes(whole, random))
    else:
        path.write_bytes(_other_archive(dict(parts), random))
    command = ["history", "import", path, "--db", folder / "h.sqlite"]
    return (*command, "--replace") if random.random() < 0.3 else tuple(command)


def _other_archive(parts, random):
    name = random.choice(list(parts))
    act = random.randrange(7)
    extra = []
    if act == 0:
        del parts[name]
    elif act == 1:
        parts[random.choice(STRANGE_TEXTS).replace("\ud800", "").replace("\udfff", "")[:200]] = (
            parts.pop(name)
        )
    elif act == 2:
        extra = [(name, parts[name])] * random.choice((1, 3, 300))
    elif act == 3:
        parts[name] = bytes(random.choice((0, 100, 20_000_000)))
    elif act in (4, 5):
        parts["facts.csv"] = changed_text(parts["facts.csv"].decode(), random)
    else:
        record = random.choice([n for n in parts if n.endswith(".json")])
        parts[record] = json_bytes(changed_json(json.loads(parts[record]), random), random)
    stream = io.BytesIO()
    import warnings

    with warnings.catch_warnings(), zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as packed:
        warnings.simplefilter("ignore")  # of names that are there twice
        for part in (*parts.items(), *extra):
            packed.writestr(part[0] or "x", part[1])
    return stream.getvalue()


READERS = (
    ("history", "list"), ("history", "check"), ("history", "check", "--look-only"), ("trend",),
    ("causes",), ("oven-or-hand", "Deck"), ("oven-map", "Deck"), ("history", "upgrade"),
    ("report", "--since", "2026-01-01", "--text"),
)  # fmt: skip
VALUES = (
    None, 0, -1, 5, 2**62, 1.5, 1e308, "abc", "", b"", b"\x00\xff", b"x" * 500, "x" * 100_000,
    "9999-99-99T99:99", "2026-01-01", "\udc80".encode("utf-8", "surrogatepass"), "=1+1", "Deck\x00",
)  # fmt: skip


def databases(random, folder):
    """A damaged history: its bytes, or its rows and schema changed by SQL."""
    path = folder / "h.sqlite"
    if random.random() < 0.5:
        path.write_bytes(changed_bytes(history_bytes(), random))
    else:
        path.write_bytes(history_bytes())
        _damage_rows(path, random)
    reader = random.choice(READERS)
    if random.random() < 0.15:
        return ("history", "export", folder / f"out.{random.choice(('zip', 'csv'))}", "--db", path)
    if random.random() < 0.1:
        return ("log", good_record(folder), "--oven", "Deck", "--db", path)
    return (*reader, "--db", path)


def _damage_rows(path, random):
    with sqlite3.connect(path, isolation_level=None) as c:
        c.execute("PRAGMA foreign_keys = OFF")
        for _ in range(random.choice((1, 1, 2, 4))):
            table = random.choice(("bake", "record", "values", "version"))
            names = [row[1] for row in c.execute(f"PRAGMA table_info(petitpied_{table})")]
            if not names:
                continue
            column = random.choice(names)
            acts = (
                lambda t=table, n=column: c.execute(
                    f"UPDATE petitpied_{t} SET {n} = ? WHERE rowid % 2 = ?",
                    (random.choice(VALUES), random.randrange(2)),
                ),
                lambda t=table: c.execute(f"DELETE FROM petitpied_{t} WHERE rowid % 2 = 0"),
                lambda t=table: c.execute(f"DROP TABLE petitpied_{t}"),
                lambda t=table, n=column: c.execute(
                    f"ALTER TABLE petitpied_{t} RENAME {n} TO z{n}"
                ),
                lambda t=table: c.execute(
                    f"CREATE TRIGGER g AFTER INSERT ON petitpied_{t} BEGIN SELECT 1; END"
                ),
                lambda t=table: c.execute(f"CREATE VIEW v AS SELECT * FROM petitpied_{t}"),
                lambda t=table: c.execute(
                    f"INSERT INTO petitpied_{t} SELECT * FROM petitpied_{t} LIMIT 1"
                ),
                lambda: _schema_text(c, random),
            )
            try:
                random.choices(acts, (8, 2, 1, 1, 1, 1, 1, 2))[0]()
            except (sqlite3.Error, OverflowError, UnicodeError):
                continue
    c.close()


def _schema_text(c, random):
    """The text of a table's definition damaged, as a flipped bit in the file would."""
    c.execute("PRAGMA writable_schema = ON")
    name, text = random.choice(
        c.execute("SELECT name, sql FROM sqlite_master WHERE sql > ''").fetchall()
    )
    new = changed_bytes(text.encode(), random, 2).decode("latin-1")
    c.execute("UPDATE sqlite_master SET sql = ? WHERE name = ?", (new, name))


KINDS = {
    "records": records, "tables": tables, "tomls": tomls, "archives": archives,
    "databases": databases,
}  # fmt: skip
MOST_SECONDS = 5.0
MOST_BYTES = 1_200_000_000


def fresh(folder):
    """An empty folder of this name."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    return folder
