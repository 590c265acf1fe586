"""The map of modules in DEVELOPERS.md, made from each module's own first line.

python tests/house/module_map.py          rewrites it
"""

import ast
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "DEVELOPERS.md"
BEGINS, ENDS = "<!-- map begins -->", "<!-- map ends -->"
SOURCES = ("daemon/brineward", "simulators/brinesim")


def first_line(module: Path) -> str:
    """The first line of a module's docstring."""
    doc = ast.get_docstring(ast.parse(module.read_text(encoding="utf-8"))) or ""
    return " ".join(doc.split("\n\n")[0].split())


def module_map() -> str:
    """A table a package, a row a module."""
    lines: list[str] = []
    for source in SOURCES:
        root = ROOT / source
        packages = sorted({m.parent for m in root.rglob("*.py") if "__pycache__" not in m.parts})
        for package in packages:
            modules = sorted(m for m in package.glob("*.py") if m.name != "__init__.py")
            lines += [
                "",
                f"**`{package.relative_to(ROOT)}`**: {first_line(package / '__init__.py')}",
            ]
            lines += [""] if modules else []
            lines += [f"- `{module.name}`: {first_line(module)}" for module in modules]
    return "\n".join(lines).strip()


def with_map(page: str) -> str:
    """The page with the map as it should be now."""
    before, rest = page.split(BEGINS)
    after = rest.split(ENDS)[1]
    return f"{before}{BEGINS}\n{module_map()}\n{ENDS}{after}"


if __name__ == "__main__":
    PAGE.write_text(with_map(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
