"""Help as plain text: commands by task, three examples each, options a line or two."""

import re
from typing import Any

import typer
from typer.core import TyperCommand, TyperGroup

#: three command lines of each command, without the program's name
EXAMPLES = {
    "bake": ("bake tonight/", "bake rose.jpg lemon.jpg --out tonight",
             "bake tonight/ --flavour rose --fact rest_minutes=40"),
    "setup": ("setup", 'setup --yes --answer oven="Deck 1" --answer flavours=rose,lemon',
              "setup --check"),
    "inspect": ("inspect tray.jpg", "inspect tonight/ --out results --limits limits.toml",
                "inspect baked.jpg --before piped.jpg"),
    "sort": ("sort tray.json", "sort results/ --limits limits.toml",
             "sort results/ --photos tonight --out sorted"),
    "pair": ("pair tray.json", "pair results/ --photos tonight --out pairs",
             "pair rose.json lemon.json --flavour rose --flavour lemon"),
    "box": ("box results/", "box results/ --box gift.toml --photos tonight", "box --new"),
    "report": ("report tray.json", "report results/*.json --photos tonight --pair",
               "report --since 2026-03-01 --text"),
    "label": ("label --new", "label label.toml --from rose.json", "label label.toml --sheet a4-4"),
    "log": ('log tray.json --oven "Deck 1" --rack top', "log tray.json --like-last",
            "log --facts facts.csv"),
    "history": ("history list", "history edit 3f2a --rack top", "history export bakes.zip"),
    "flavour": ("flavour add rose --from tray.json", "flavour list", "flavour remove rose"),
    "oven-map": ('oven-map "Deck 1"', 'oven-map "Deck 1" --measure browning --out map.png',
                 'oven-map "Deck 1" --rack top --measure all'),
    "oven-or-hand": ('oven-or-hand "Deck 1"', 'oven-or-hand "Deck 1" --measure browning',
                     'oven-or-hand "Deck 1" --rack top --json'),
    "trend": ("trend", 'trend --oven "Deck 1" --measure cracks --out chart.png',
              "trend --change 2026-03-01"),
    "causes": ("causes", "causes --measure cracks", 'causes --oven "Deck 1" --flavour rose'),
    "template": ("template --target 45 --from tray.json",
                 "template --target 45 --growth 3 --spread 1.5",
                 "template --target 40 --form heart --paper letter --from tray.json"),
    "batch": ("batch --new", "batch recipe.toml --boxes 12",
              "batch recipe.toml --boxes 12 --good 50 --baked 60"),
    "card": ("card", "card --paper letter --out prints", "card --check --bar 99.2"),
    "lens": ("lens chart/", "lens chart_1.jpg chart_2.jpg --out phone.yml",
             "lens chart/ --square-mm 7.5"),
    "limits": ("limits --new", "limits --from best_tray.json", "limits limits.toml"),
    "review": ("review tray.json", "review tray.json --set B3.crack=yes",
               "review tray.json --rest crack=no"),
    "agreement": ("agreement tray.json", "agreement results/*.json",
                  "agreement monday.json tuesday.json"),
    "repeatability": ("repeatability a.json b.json c.json", "repeatability --study study.csv",
                      "repeatability *.json --limits 43 47"),
    "lot-check": ("lot-check 300", "lot-check 300 --bad 2.5", "lot-check 300 --found 3"),
    "simulate": ("simulate --out past", "simulate --out past --bakes 24 --turned 12",
                 "simulate --out past --oven-effect spot:1.5:120,-70"),
    "demo": ("demo", "demo --out kitchen", "demo --all"),
    "handbook": ("handbook", "handbook evening", "handbook trouble"),
    "schema": ("schema", "schema > inspection.schema.json", "schema | less"),
}  # fmt: skip
#: facts of a bake: where a command has them beside much else, they take one line
FACTS = frozenset(
    ("oven", "rack", "turn", "at", "set_temperature", "fan", "liner", "rest_minutes", "humidity",
     "flavour", "batch", "note", "more", "like_last")
)  # fmt: skip
MANY_OPTIONS = 24
WIDTH = 100


def examples(name: str) -> str:
    """The examples of a command as a paragraph that is not filled anew; empty where it has none."""
    told = EXAMPLES.get(name)
    if told is None:
        return ""
    return "\n".join(["\b", "Examples:", *(f"  petitpied {example}" for example in told)])


def _in_words(name: str, text: str) -> tuple[str, str]:
    """An option's line with types and ranges as people say them."""
    name = re.sub(r" <(list\[)?(Path|path|file)\]?>$", "", name)
    name = re.sub(r" <(int|float|integer)( range)?>$", " N", name)
    name = re.sub(r" <(list\[)?(str|text)\]?>$", " TEXT", name)
    found = re.search(r"\s*\[([^\[\]]*)\]$", text)
    if found is None:
        return name, text
    parts = [_range_words(part.strip()) for part in found[1].split(";")]
    said = "; ".join(part for part in parts if part)
    return name, text[: found.start()] + (f" ({said})" if said else "")


def _range_words(part: str) -> str:
    both = re.fullmatch(r"([-\d.]+)<=x<=([-\d.]+)", part)
    if both:
        return f"{both[1]} to {both[2]}"
    least = re.fullmatch(r"x>=([-\d.]+)", part)
    if least:
        return f"{least[1]} or more"
    part = part.replace("default: ", "else ")
    return "" if part == "required" else part


def _first_sentence(text: str) -> str:
    """Of a command's help, as it stands in the list."""
    whole = " ".join(text.split("\n\n")[0].split())
    return re.split(r"(?<=[.?])\s", whole)[0] if ". " in whole else whole


class CommandHelp(TyperCommand):
    """A command whose options take few lines: of many, the facts of a bake stand in one."""

    def collect_usage_pieces(self, ctx: Any) -> list[str]:
        """As in "PHOTO..." in place of "{PHOTO...}..."."""
        pieces = super().collect_usage_pieces(ctx)
        plain_pieces = [re.sub(r"^\[\[(.*)\]\]$", r"[\1]", piece) for piece in pieces]
        return [re.sub(r"^\{(.*?)(\.\.\.)?\}(\.\.\.)?$", r"\1\2", p) for p in plain_pieces]

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """The arguments, then the options."""
        records: list[tuple[str, str]] = []
        facts: list[str] = []
        crowded = len(self.params) > MANY_OPTIONS
        for param in self.params:
            if crowded and param.name in FACTS:
                facts.append(param.opts[0])
                continue
            record = param.get_help_record(ctx)
            if record is not None:
                records.append(_in_words(*record))
        if facts:
            names = ", ".join(facts)
            records.append(("facts", f"{names}: see petitpied log --help"))
        help_option = self.get_help_option(ctx)
        if help_option is not None and help_option not in self.params:
            record = help_option.get_help_record(ctx)
            if record is not None:
                records.append((record[0], record[1]))
        with formatter.section("What may follow"):
            formatter.write_dl(records)


class TaskHelp(TyperGroup):
    """The list of commands, by task."""

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """A section for each part of the job, in the order of its first command."""
        parts: dict[str, list[tuple[str, str]]] = {}
        for name in self.list_commands(ctx):
            command = self.get_command(ctx, name)
            if command is not None and not command.hidden:
                part = getattr(command, "rich_help_panel", None) or "Commands"
                parts.setdefault(str(part), []).append((name, _first_sentence(command.help or "")))
        for part, rows in parts.items():
            with formatter.section(part):
                formatter.write_dl(rows)


def settings() -> dict[str, Any]:
    """Of the program: width of its help."""
    return {"max_content_width": WIDTH, "terminal_width": None}


def plain(program: typer.Typer) -> typer.Typer:
    """The same group of commands with plain help: no frames and no colours, whatever the
    terminal."""
    program.rich_markup_mode = None
    for command in program.registered_commands:
        command.cls = CommandHelp
    return program
