"""The shipped tables: all load, name their source, hold together; a broken one is a mistake of ours, not the user's."""

from importlib.resources import files
from itertools import pairwise

import pytest

from geom.errors import EvenstockError, StandardError
from geom.standards.table import CERTAINTIES, BrokenTableError, parse_table, table, table_names

GOOD = """\
# title: Holes
# source: a handbook
# edition: 3
# unit: inch
# certainty: from memory
# note: not much
size,diameter,certainty
1/4,0.25,
3/8,0.375,published copy seen
"""


@pytest.mark.parametrize("name", table_names())
def test_every_shipped_table_loads_and_names_its_source(name: str) -> None:
    """A sheet prints where a number comes from, so no table goes without."""
    found = table(name)

    assert len(found.source) >= len("ISO 273")
    assert found.title
    assert found.edition
    assert found.rows
    assert all(row.certainty in CERTAINTIES for row in found.rows)
    assert name in {entry.name.removesuffix(".csv") for entry in files("geom.standards").joinpath("tables").iterdir()}


@pytest.mark.parametrize("name", [name for name in table_names() if "over" in table(name).columns])
def test_ranges_join_without_gap_or_overlap(name: str) -> None:
    """Every size between a table's ends is in exactly one row."""
    rows = table(name).rows

    assert all(row.number("over") < row.number("upto") for row in rows)
    assert all(a.number("upto") == b.number("over") for a, b in pairwise(rows))


@pytest.mark.parametrize("name", [name for name in table_names() if "over" not in table(name).columns])
def test_no_row_is_given_twice(name: str) -> None:
    """Two rows for one size would make the answer depend on their order."""
    keys = [tuple(cell for cell in list(row.cells.values())[:4] if cell) for row in table(name).rows]

    assert len(set(keys)) == len(keys)


@pytest.mark.parametrize("name", ["clearance_metric", "clearance_inch", "socket_head_metric", "socket_head_inch", "drills_letter"])
def test_sizes_grow_down_the_table(name: str) -> None:
    """A slip of one digit in a size table breaks its order."""
    found = table(name)
    for column in found.columns[1:]:
        if not column.endswith("drill"):
            values = [row.number(column) for row in found.rows]
            assert values == sorted(values), column


def test_a_row_may_be_surer_than_its_table() -> None:
    """Values checked against a published copy say so beside values from memory; sheets print the difference."""
    found = parse_table("holes", GOOD)

    assert found.cited == "a handbook (3)"
    assert found.columns == ("size", "diameter")
    assert found.notes == ("not much",)
    assert found.cited_row(found.rows[0]) == "a handbook (3), from memory"
    assert found.cited_row(found.rows[1]) == "a handbook (3)"
    assert found.rows[1].length("diameter") == 9.525


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        ("# source: a handbook\n", "", "no heading for source"),
        ("# source: a handbook", "# sauce: a handbook", "'# sauce: a handbook'"),
        ("# edition: 3", "# edition: 3\n# edition: 4", "# edition: 4"),
        ("# unit: inch", "# unit: cubit", "unit 'cubit' is none of mm, inch, none"),
        ("# certainty: from memory", "# certainty: sure", "certainty 'sure'"),
        ("published copy seen", "maybe", "line 9: certainty 'maybe'"),
        ("1/4,0.25,", "1/4,0.25", "line 8: 2 cells under 3 columns"),
        ("size,diameter", "size,size", "not distinct"),
        ("1/4,0.25,\n3/8,0.375,published copy seen\n", "", "no column line and rows"),
    ],
)
def test_a_broken_table_is_our_own_mistake(old: str, new: str, reason: str) -> None:
    """It stops the program at its line; it is never blamed on the user's job."""
    assert old in GOOD
    with pytest.raises(BrokenTableError) as fault:
        parse_table("holes", GOOD.replace(old, new))
    assert reason in str(fault.value)
    assert not isinstance(fault.value, EvenstockError)


def test_reading_a_column_that_is_not_there_is_our_own_mistake() -> None:
    """A missing table, column or number is found by name and line."""
    found = parse_table("holes", GOOD)
    with pytest.raises(BrokenTableError, match=r"no column 'depth'; there are size, diameter"):
        found.rows[0].text("depth")
    with pytest.raises(BrokenTableError, match=r"line 8: '1/4' under 'size' is not a number"):
        found.rows[0].number("size")
    with pytest.raises(BrokenTableError, match="no shipped table 'moon_phases'"):
        table("moon_phases")
    with pytest.raises(BrokenTableError, match="no unit of length"):
        table("alloys").rows[0].length("density")


def test_a_size_that_is_not_in_a_table_is_told_what_is() -> None:
    """Exit 2 lists what there is, with the key that asked."""
    with pytest.raises(StandardError) as refusal:
        parse_table("holes", GOOD).row_for("size", "1/3", "hole size", "job.toml: holes.a")
    assert str(refusal.value) == "job.toml: holes.a: '1/3' is not a hole size in a handbook (3); the table has 1/4, 3/8"
