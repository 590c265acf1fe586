"""The picture of an alarm's life in daemon/docs/life.md, from the table that alarms run on.

python tests/house/life_picture.py          rewrites it
"""

from pathlib import Path

from brineward.book.life_table import HOLDS, ROWS, STATES, Letter, Row

PAGE = Path(__file__).resolve().parents[2] / "daemon" / "docs" / "life.md"
BEGINS, ENDS = "<!-- life begins -->", "<!-- life ends -->"
JUDGED = (Letter.A, Letter.B, Letter.C, Letter.D, Letter.E, Letter.F)
_LEAVES = {hold.left for hold in HOLDS}
_ENTERS = {hold.entered for hold in HOLDS}


def name_of(letter: Letter) -> str:
    """A letter with its state's name."""
    return f"{letter} {STATES[letter]}" if letter in STATES else f"{letter} active, nobody told"


def picture() -> str:
    """The ways between A and F, and what holds back from anywhere, as a Mermaid diagram."""
    ways: dict[tuple[Letter, Letter], list[str]] = {}
    for row in ROWS:
        if row.event not in _LEAVES | _ENTERS and row.before is not Letter.N:
            told = " (announced)" if row.announced else ""
            ways.setdefault((row.before, row.after), []).append(f"{row.event}{told}")
    lines = ["```mermaid", "stateDiagram-v2", '    state "A to F" as judged {']
    lines += [f'        state "{name_of(letter)}" as {letter}' for letter in JUDGED]
    lines += ["        [*] --> A"]
    lines += [
        f"        {before} --> {after}: {', '.join(events)}"
        for (before, after), events in ways.items()
    ]
    lines += ["    }"]
    for hold in HOLDS:
        lines += [
            f'    state "{name_of(hold.letter)}" as {hold.letter}',
            f"    judged --> {hold.letter}: {hold.entered}",
            f"    {hold.letter} --> judged: {hold.left}",
        ]
    return "\n".join([*lines, "```"])


def rows() -> str:
    """Every row of the table."""
    lines = ["| from | at | to | announced | beneath G, H or I |", "|---|---|---|---|---|"]
    lines += [
        f"| {name_of(row.before)} | {row.event} | {name_of(row.after)} | "
        f"{'yes' if row.announced else ''} | {_beneath(row)} |"
        for row in ROWS
    ]
    return "\n".join(lines)


def _beneath(row: Row) -> str:
    return "the same" if row.held is None else name_of(row.held)


def page(written: str) -> str:
    """The page with the picture and the table in their place."""
    before, rest = written.split(BEGINS)
    after = rest.split(ENDS)[1]
    return f"{before}{BEGINS}\n{picture()}\n\n{rows()}\n{ENDS}{after}"


if __name__ == "__main__":
    PAGE.write_text(page(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
