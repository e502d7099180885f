"""``python -m tests.rooms``: every module of the package under its folder, and what it knows."""

import ast
from pathlib import Path

PACKAGE = Path(__file__).parents[1] / "src" / "petitpied"


def first_line(path: Path) -> str:
    told = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    return " ".join(told.split("\n\n")[0].split())


def main() -> None:
    """Print the list."""
    for init in sorted(PACKAGE.rglob("__init__.py")):
        print(f"\n{init.parent.relative_to(PACKAGE.parent)}: {first_line(init)}")
        for module in sorted(init.parent.glob("*.py")):
            if module != init:
                print(f"  {module.stem:24} {first_line(module)}")


if __name__ == "__main__":
    main()
