"""A notice as a letter: a subject, and all that there is to say, a line each. Mail has room."""

from brineward.readings.outputs import Notice

_LONGEST_SUBJECT = 120


def subject_of(notice: Notice) -> str:
    """One line that says which alarm, where and what."""
    if notice.plain:
        said = notice.plain
    else:
        said = " ".join(part for part in (notice.lead, f"{notice.place}:", notice.headline) if part)
    line = " ".join("".join(sign if sign.isprintable() else " " for sign in said).split())
    return line if len(line) <= _LONGEST_SUBJECT else f"{line[: _LONGEST_SUBJECT - 3]}..."


def letter(notice: Notice) -> str:
    """Everything, nothing cut."""
    if notice.plain:
        return f"{notice.plain}\n"
    how = (notice.how_bad, notice.time_left, notice.when)
    lines = [
        " ".join(part for part in (notice.lead, notice.place) if part),
        _sentence(notice.headline),
        *(_sentence(part) for part in how if part),
        *(("", "What to do:", _sentence(notice.response)) if notice.response else ()),
        *(("", notice.take) if notice.take else ()),
    ]
    return "\n".join(lines) + "\n"


def _sentence(piece: str) -> str:
    whole = f"{piece[:1].upper()}{piece[1:]}"
    return whole if not whole or whole.endswith((".", "?", "!")) else f"{whole}."
