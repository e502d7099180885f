"""The shape of the code: imports go one way, the core is pure, files and folders stay small."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "src" / "petitpied"
MODULES = sorted(PACKAGE.rglob("*.py"))
#: every folder of the package, from the ground up: a module may import from its own folder and
#: from those above it in this list, so that there is no way round in a circle
FLOORS = (
    *("domain", "numerics", "photo", "camera/lens", "camera", "finding", "contours", "sizing"),
    *("surface/caps", "surface/foot", "surface/colour", "surface/relief", "surface/cracks"),
    *("surface", "inspection", "statistics", "patterns/oven", "patterns/trends", "patterns"),
    *("sorting", "piping", "evening", "labels", "text", "text/lots", "text/evening"),
    # from here on: the world
    *("running", "files", "files/own", "files/records", "history"),
    *("figures/fonts", "figures", "figures/print", "figures/charts", "figures/tray", "report"),
    "handbook",
    *("cli/options", "cli/planning", "cli/lots", "cli/bakes", "cli/measuring"),
    *("cli/evening", "cli"),
)
CORE = FLOORS[: FLOORS.index("running")]
#: modules that reach files, clock, processes, chance or the network
WORLDLY = {
    *("os", "pathlib", "shutil", "tempfile", "glob", "fileinput", "sqlite3", "importlib"),
    *("time", "subprocess", "multiprocessing", "concurrent", "threading", "random"),
    *("socket", "urllib", "http", "requests", "logging", "sys", "typer", "tests"),
}
#: calls that do the same from within modules that are allowed (PIL's Image.open, fed with
#: bytes, is none of them: only the bare name opens files)
WORLDLY_CALLS = {
    *("print", "input", "exec", "eval", "imread", "imwrite", "imshow", "VideoCapture"),
    *("now", "utcnow", "today", "perf_counter", "monotonic", "sleep"),
    *("fromfile", "tofile", "loadtxt", "savetxt", "genfromtxt", "savez", "memmap", "default_rng"),
}
#: may read the package's own data, which is part of the program as its constants are
READS_PACKAGE_DATA = {
    "finding/finder_network.py": {"importlib"},
    "contours/edge_network.py": {"importlib"},
    "surface/relief/relief_network.py": {"importlib"},
    "surface/cracks/strips.py": {"importlib"},
    "surface/cracks/verdict.py": {"importlib"},
}
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml"}
TOP_LEVEL |= {"src", "tests", "sample_images", "calibration"}
LEFT_BY_TOOLS = {"build", "dist", "__pycache__", "results"}  # ignored by git
LONGEST_MODULE = 400
MOST_MODULES = 20  # in one folder


def name_of(path):
    return path.relative_to(PACKAGE).as_posix()


def folder_of(path):
    """As in `FLOORS`; "." for the package itself."""
    return path.relative_to(PACKAGE).parent.as_posix()


def place_of(name):
    return PACKAGE.joinpath(*name.split(".")[1:])


def is_ours(name):
    """Whether a dotted name is a module or folder of the package."""
    place = place_of(name)
    inside = name.startswith("petitpied.")
    return inside and (place.is_dir() or place.with_suffix(".py").is_file())


def home_of(name):
    """The folder that a module of ours lies in; a folder is its own."""
    place = place_of(name)
    return folder_of(place / "__init__.py" if place.is_dir() else place)


def syntax_of(path):
    return ast.parse(path.read_text(encoding="utf-8"))


def imported(path):
    """Dotted names of all modules imported anywhere in a file."""
    for node in ast.walk(syntax_of(path)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name_of(path)}: relative import"
            module = node.module or ""
            yield module
            yield from filter(is_ours, (f"{module}.{alias.name}" for alias in node.names))


def called(path):
    yield from called_bare(path)
    for node in ast.walk(syntax_of(path)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            yield node.func.attr


def called_bare(path):
    for node in ast.walk(syntax_of(path)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            yield node.func.id


def in_folder(*folders):
    return [path for path in MODULES if folder_of(path) in folders]


def test_every_folder_has_its_floor():
    assert {folder_of(path) for path in MODULES} - {"."} == set(FLOORS)
    assert len(set(FLOORS)) == len(FLOORS)


@pytest.mark.parametrize("path", in_folder(*FLOORS), ids=name_of)
def test_imports_go_one_way(path):
    floor = FLOORS.index(folder_of(path))
    ours = {name for name in imported(path) if is_ours(name)}
    assert not {name for name in ours if FLOORS.index(home_of(name)) > floor}


@pytest.mark.parametrize("folder", FLOORS)
def test_no_folder_is_crowded(folder):
    assert len([p for p in in_folder(folder) if p.name != "__init__.py"]) <= MOST_MODULES


@pytest.mark.parametrize("path", in_folder(*CORE), ids=name_of)
def test_the_core_touches_no_file_clock_or_screen(path):
    worldly = {name.split(".")[0] for name in imported(path)} & WORLDLY
    assert worldly <= READS_PACKAGE_DATA.get(name_of(path), set())
    assert not set(called(path)) & WORLDLY_CALLS
    assert "open" not in set(called_bare(path))


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_modules_are_short_and_named_for_what_they_know(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= LONGEST_MODULE
    assert path.stem not in {"utils", "util", "helpers", "common", "misc"}


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_nothing_is_imported_by_star(path):
    stars = [
        alias.name
        for node in ast.walk(syntax_of(path))
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
        if alias.name == "*"
    ]
    assert not stars


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_dataclasses_are_frozen(path):
    for node in ast.walk(syntax_of(path)):
        if not isinstance(node, ast.ClassDef):
            continue
        for mark in node.decorator_list:
            given = mark.func if isinstance(mark, ast.Call) else mark
            if ast.unparse(given).split(".")[-1] != "dataclass":
                continue
            frozen = isinstance(mark, ast.Call) and any(
                word.arg == "frozen" and ast.unparse(word.value) == "True" for word in mark.keywords
            )
            assert frozen, f"{node.name} can be changed"


def test_top_level_holds_only_what_belongs_there():
    found = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    strange = {name for name in found - TOP_LEVEL - LEFT_BY_TOOLS if not name.endswith(".egg-info")}
    assert not strange
