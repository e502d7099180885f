"""The shape of the code: imports point inward, the core is pure, files stay short."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "src" / "petitpied"
MODULES = sorted(PACKAGE.rglob("*.py"))
#: folder to the folders whose modules it may import; nothing may import rim but rim
MAY_IMPORT = {
    "domain": {"domain"},
    "surface": {"domain", "surface"},
    "vision": {"domain", "surface", "vision"},
    "lens": {"domain", "vision", "lens"},
    "gauge": {"domain", "gauge"},
    "patterns": {"domain", "patterns"},
    "sorting": {"domain", "sorting"},
    "piping": {"domain", "piping"},
}
CORE = tuple(MAY_IMPORT)
MAY_IMPORT["figures"] = MAY_IMPORT["rim"] = {*CORE, "figures", "rim"}
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
    "vision/finder_network.py": {"importlib"},
    "vision/edge_network.py": {"importlib"},
    "surface/relief_network.py": {"importlib"},
    "surface/cracks_strips.py": {"importlib"},
}
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml"}
TOP_LEVEL |= {"src", "tests", "sample_images", "calibration"}
LEFT_BY_TOOLS = {"build", "dist", "__pycache__", "results"}  # ignored by git
LONGEST_MODULE = 400


def name_of(path):
    return path.relative_to(PACKAGE).as_posix()


def folder_of(path):
    parts = path.relative_to(PACKAGE).parts
    return parts[0] if len(parts) > 1 else None


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
            if module == "petitpied":
                yield from (f"petitpied.{alias.name}" for alias in node.names)


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


def test_there_is_something_to_check():
    assert {"domain", "vision", "rim"} <= {folder_of(path) for path in MODULES}


@pytest.mark.parametrize("path", in_folder(*MAY_IMPORT), ids=name_of)
def test_imports_point_inward(path):
    own = [name.split(".") for name in imported(path) if name.split(".")[0] == "petitpied"]
    outward = {
        ".".join(parts)
        for parts in own
        if len(parts) > 1 and parts[1] not in MAY_IMPORT[folder_of(path)] | {"__version__"}
    }
    assert not outward


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
