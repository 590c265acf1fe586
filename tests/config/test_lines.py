"""Line numbers of keys: exact, or those of the table around."""

from brineward.config.lines import line_of, lines_of_keys

TEXT = '''# a comment

[one."two.three"]
plain = 1
"quoted key" = "[not.a.table]"
text = """
[nor.this]
fake = 1
"""
rows = [
  [1, 2],
  [3, 4],
]
inline = { a = 1, b.c = 2 }
dotted.inner = 3

[other]
plain = 2
'''


def test_keys_stand_on_their_lines() -> None:
    """Quoted and dotted keys, inline tables, values of many lines that look like tables."""
    lines = lines_of_keys(TEXT)
    table = ("one", "two.three")
    assert lines[table] == 3
    assert lines[(*table, "plain")] == 4
    assert lines[(*table, "quoted key")] == 5
    assert lines[(*table, "text")] == 6
    assert lines[(*table, "rows")] == 10
    assert lines[(*table, "inline", "b", "c")] == 14
    assert lines[(*table, "dotted", "inner")] == 15
    assert lines[("other", "plain")] == 18
    assert ("nor", "this") not in lines
    assert ("not", "a") not in lines


def test_a_missing_key_is_placed_at_its_table() -> None:
    """What is missing has no line: the nearest table around it has."""
    lines = lines_of_keys(TEXT)
    assert line_of(("one", "two.three", "rows", 1), lines) == 10
    assert line_of(("other", "missing"), lines) == 17
    assert line_of(("nowhere",), lines) is None
