"""The rooms of the house in DEVELOPERS.md, and every module in daemon/docs/map.md.

Both are made from each package's and module's own first line.

python tests/house/module_map.py          rewrites them
"""

import ast
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ROOT / "DEVELOPERS.md"
PAGE = ROOT / "daemon" / "docs" / "map.md"
BEGINS, ENDS = "<!-- map begins -->", "<!-- map ends -->"
SOURCES = ("daemon/brineward", "simulators/brinesim")


def first_line(module: Path) -> str:
    """The first line of a module's docstring."""
    doc = ast.get_docstring(ast.parse(module.read_text(encoding="utf-8"))) or ""
    return " ".join(doc.split("\n\n")[0].split())


def packages() -> list[Path]:
    """Every package of the house, in order."""
    roots = (ROOT / source for source in SOURCES)
    return [
        package
        for root in roots
        for package in sorted({m.parent for m in root.rglob("*.py")})
        if "__pycache__" not in package.parts
    ]


def rooms() -> str:
    """A line a package."""
    lines = (
        f"- `{package.relative_to(ROOT)}`: {first_line(package / '__init__.py')}"
        for package in packages()
    )
    return "\n".join(lines)


def module_map() -> str:
    """A heading a package, a line a module."""
    lines: list[str] = []
    for package in packages():
        modules = sorted(m for m in package.glob("*.py") if m.name != "__init__.py")
        lines += ["", f"**`{package.relative_to(ROOT)}`**: {first_line(package / '__init__.py')}"]
        lines += [""] if modules else []
        lines += [f"- `{module.name}`: {first_line(module)}" for module in modules]
    return "\n".join(lines).strip()


def with_map(page: str, found: str) -> str:
    """The page with what was found in place of what stands there."""
    before, rest = page.split(BEGINS)
    after = rest.split(ENDS)[1]
    return f"{before}{BEGINS}\n{found}\n{ENDS}{after}"


PAGES = {ROOMS: rooms, PAGE: module_map}

if __name__ == "__main__":
    for path, made in PAGES.items():
        path.write_text(with_map(path.read_text(encoding="utf-8"), made()), encoding="utf-8")
