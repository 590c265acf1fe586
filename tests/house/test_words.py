"""What no file of the project says, and what each module and test must say."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

from checkout import ROOT, tracked

# Put together here, so that this file does not say them itself.
UNWANTED = [
    "TO" + "DO",
    "FIX" + "ME",
    r"(?<![\w.])/(home|root|Users)/\w",
    r"(?<![\w.])/t" + r"mp/w\b",
    r"(?<![\w.])/work/\w",
]
LONGEST_MODULE = 450


def test_no_file_speaks_of_what_is_left_to_do_or_of_one_machine() -> None:
    """No notes to ourselves, no folder of whoever wrote it."""
    pattern = re.compile("|".join(UNWANTED))
    found = [
        f"{path.relative_to(ROOT)}:{number}: {line.strip()}"
        for path in tracked()
        for number, line in enumerate(path.read_text(errors="replace").splitlines(), 1)
        if pattern.search(line)
    ]
    assert not found


def test_modules_stay_small() -> None:
    """A module of more than 450 lines is two things."""
    lengths = {path: len(path.read_text().splitlines()) for path in python_files()}
    assert not {str(path.relative_to(ROOT)): n for path, n in lengths.items() if n > LONGEST_MODULE}


def test_every_module_and_test_says_what_it_is_for() -> None:
    """A module's first line goes into the map; a test's says the promise that it keeps."""
    missing = []
    for path in python_files():
        tree = ast.parse(path.read_text())
        if not ast.get_docstring(tree):
            missing.append(str(path.relative_to(ROOT)))
        missing += [
            f"{path.relative_to(ROOT)}: {function.name}"
            for function in functions(tree)
            if function.name.startswith("test_") and not ast.get_docstring(function)
        ]
    assert not missing


def test_physics_says_what_it_refuses() -> None:
    """A function of brineward.physics that raises says so and when; each says something."""
    missing = []
    for path in tracked("daemon/brineward/physics"):
        if path.suffix != ".py":
            continue
        for function in functions(ast.parse(path.read_text())):
            told = ast.get_docstring(function) or ""
            where = f"{path.name}: {function.name}"
            if not function.name.startswith("_") and not told:
                missing.append(f"{where} says nothing")
            elif not function.name.startswith("_") and raises(function) and "Raises:" not in told:
                missing.append(f"{where} does not say what it raises")
    assert not missing


def test_published_curves_say_where_they_come_from_and_how_far_they_reach() -> None:
    """Each surface of brine or water names Source, Valid, Uncertainty and Raises, all four."""
    surfaces = {
        "conductivity.py": "conductivity",
        "density.py": "density",
        "freezing.py": "freezing_point_c",
        "saturation.py": "saturation_mass_fraction",
        "salinity.py": "salinity",
        "water.py": "water_density",
    }
    for file, name in surfaces.items():
        tree = ast.parse((ROOT / "daemon/brineward/physics" / file).read_text())
        (told,) = [ast.get_docstring(one) or "" for one in functions(tree) if one.name == name]
        missing = [
            part for part in ("Source", "Valid", "Uncertainty", "Raises") if f"{part}:" not in told
        ]
        assert not missing, f"{file}: {name}"


def python_files() -> Iterator[Path]:
    """Every Python file that git keeps."""
    return (path for path in tracked() if path.suffix == ".py")


def functions(tree: ast.Module) -> list[ast.FunctionDef]:
    """Functions and methods, wherever they stand."""
    return [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]


def raises(function: ast.FunctionDef) -> bool:
    """Does it raise by itself, its inner functions aside?"""
    inner = {id(node) for one in functions_in(function) for node in ast.walk(one)}
    return any(isinstance(node, ast.Raise) and id(node) not in inner for node in ast.walk(function))


def functions_in(function: ast.FunctionDef) -> list[ast.FunctionDef]:
    """Functions inside of it."""
    return [n for n in ast.walk(function) if isinstance(n, ast.FunctionDef) and n is not function]
