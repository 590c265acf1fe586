"""Every path, command, option and word of code named in README.md and DEVELOPERS.md exists."""

import contextlib
import functools
import io
import re
import shlex
from collections.abc import Callable

import pytest

import brinesim.commands.main
from brineward.commands import main as brineward_main
from checkout import ROOT, tracked

PAGES = ("README.md", "DEVELOPERS.md")
MADE = (".venv", "brineward-demo")
"""What our own commands make, so that git does not keep it."""

PROGRAMS: dict[str, Callable[[list[str]], int]] = {
    "brineward": brineward_main.main,
    "brinesim": brinesim.commands.main.main,
}


def spans(page: str) -> list[str]:
    """What stands in backticks in running text, line ends made spaces."""
    text = re.sub(r"^```.*?^```", "", (ROOT / page).read_text(), flags=re.DOTALL | re.MULTILINE)
    return [" ".join(span.split()) for span in re.findall(r"`([^`]+)`", text)]


def shell_lines(page: str) -> list[str]:
    """The command lines in its ```sh blocks."""
    blocks = re.findall(r"^```sh\n(.*?)^```", (ROOT / page).read_text(), re.DOTALL | re.MULTILINE)
    return [line for block in blocks for line in block.splitlines() if line.strip()]


def named(page: str, kind: Callable[[str], bool]) -> list[str]:
    """All such spans and shell lines of a page; there is at least one, or nothing is tested."""
    found = [one for one in dict.fromkeys([*spans(page), *shell_lines(page)]) if kind(one)]
    assert found, f"{page} names nothing of this kind any more"
    return found


def is_command(span: str) -> bool:
    """Is it a call of one of our programs?"""
    return re.match(r"(sudo )?(brineward|brinesim) [a-z]", span) is not None


def is_script(span: str) -> bool:
    """Is it a call of a script, or of Python on one?"""
    return re.match(r"(sudo )?(sh|python|pytest|\.) [\w.]", span) is not None


def is_path(span: str) -> bool:
    """Is it one path, as a whole?"""
    if re.search(r"[\s<>{}*=\",]|://", span):
        return False
    return "/" in span or re.search(r"\w\.(py|sh|md|toml|csv|conf|service)$", span) is not None


def is_word(span: str) -> bool:
    """Is it one word of code: a key, a field, a class, a function, an option?"""
    return re.fullmatch(r"-{0,2}[A-Za-z_][\w.-]*(\(\))?", span) is not None and not is_path(span)


@functools.cache
def help_of(program: str, *words: str) -> str:
    """What `--help` of a command prints."""
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed), contextlib.suppress(SystemExit):
        PROGRAMS[program]([*words, "--help"])
    return printed.getvalue()


@functools.cache
def house_text() -> str:
    """All that git keeps but the pages themselves and these tests."""
    kept = [path for path in tracked() if path.name not in PAGES and "house" not in path.parts]
    return "\n".join(path.read_text(errors="replace") for path in kept)


@pytest.mark.parametrize("page", PAGES)
def test_commands_named_there_exist(page: str) -> None:
    """Each has a --help that knows it, and each option named beside it."""
    for span in named(page, is_command):
        words = [word for word in shlex.split(span, comments=True) if word != "sudo"]
        program, command = words[:2]
        told = help_of(program, command)
        assert told.startswith(f"usage: {program} {command}"), span
        for option in (word for word in words if word.startswith("--")):
            assert re.search(rf"{option}\b", told), span


@pytest.mark.parametrize("page", PAGES)
def test_scripts_named_there_exist(page: str) -> None:
    """The file or folder that a command line calls is kept by git, or made by our own commands."""
    missing = []
    for span in named(page, is_script):
        words = [word for word in shlex.split(span, comments=True) if word != "sudo"]
        target = next(word for word in words[1:] if not word.startswith("-"))
        missing += [] if exists(target) else [span]
    assert not missing


@pytest.mark.parametrize("page", PAGES)
def test_paths_named_there_exist(page: str) -> None:
    """In the checkout, or on a depot box where deploy/ puts them."""
    assert not [span for span in named(page, is_path) if not exists(span)]


@pytest.mark.parametrize("page", PAGES)
def test_words_of_code_named_there_are_used(page: str) -> None:
    """A key, field, class, function or option stands in code or config, as it is spelt there."""
    missing = []
    for span in named(page, is_word):
        word = re.escape(span.removesuffix("()").split(".")[-1])
        missing += [] if re.search(rf"(?<![\w-]){word}(?![\w-])", house_text()) else [span]
    assert not missing


def exists(path: str) -> bool:
    """Is it in the checkout, made by our own commands, or put on a box by deploy/?"""
    if path.startswith("/"):
        return path in (ROOT / "deploy" / "places.sh").read_text()
    if path.split("/", maxsplit=1)[0] in MADE:
        return True
    # Beside its package's name a module stands without its folder.
    whole = ROOT / path
    return any(
        file == whole or whole in file.parents or str(file).endswith(f"/{path}")
        for file in tracked()
    )


@pytest.mark.parametrize("program", sorted(PROGRAMS))
def test_every_command_helps_and_is_in_the_readme(program: str) -> None:
    """No command without --help; none of brineward's that the README leaves out."""
    listed = re.search(r"^  COMMAND$(.*?)^\S", help_of(program) + "end", re.DOTALL | re.MULTILINE)
    top = help_of(program) if listed is None else listed.group(1)
    commands = re.findall(r"^    ([a-z-]+)", top, re.MULTILINE)
    assert commands
    readme = (ROOT / "README.md").read_text()
    for command in commands:
        assert help_of(program, command).startswith(f"usage: {program} {command}")
        if program == "brineward":
            assert f"`brineward {command}" in readme, f"README.md names no `brineward {command}`"
