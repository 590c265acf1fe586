"""Which alarm is quiet in which mode, in daemon/docs/modes.md: made from the alarms' own records.

python tests/house/mode_table.py          rewrites it
"""

from pathlib import Path

from brineward.alarms.registry import CATALOGUE
from brineward.readings.modes import Mode
from brineward.telling.mode_words import BESIDES

PAGE = Path(__file__).resolve().parents[2] / "daemon" / "docs" / "modes.md"
BEGINS, ENDS = "<!-- table begins -->", "<!-- table ends -->"


def table() -> str:
    """A row an alarm, a column a mode; and what else a mode changes."""
    head = f"| alarm | {' | '.join(mode.value for mode in Mode)} |"
    rule = "|---" * (len(Mode) + 1) + "|"
    rows = [
        f"| `{record.id}` | "
        + " | ".join("quiet" if mode in record.quiet_in else "" for mode in Mode)
        + " |"
        for record in CATALOGUE.values()
    ]
    besides = [f"- {mode.value}: {what}." for mode, what in BESIDES.items()]
    return "\n".join([head, rule, *rows, "", "Other changes:", "", *besides])


def with_table(page: str) -> str:
    """The page with its table as it should be."""
    before, rest = page.split(BEGINS)
    after = rest.split(ENDS)[1]
    return f"{before}{BEGINS}\n{table()}\n{ENDS}{after}"


if __name__ == "__main__":
    PAGE.write_text(with_table(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
