"""The data fields of a title block: which must be filled, and how long each may be.

Knows ISO 7200's list. Not where a field stands on a sheet or what it says.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from geom.errors import StandardError, nearest
from geom.standards.table import TableRow, table


@dataclass(frozen=True, slots=True)
class TitleField:
    """A field of the title block: name, greatest number of characters (None: open), and whether it must be filled."""

    name: str
    characters: int | None
    mandatory: bool


@cache
def title_fields() -> tuple[TitleField, ...]:
    """Return the fields of ISO 7200 in its order."""
    return tuple(_field(row) for row in table("title_block_fields").rows)


def empty_fields(values: Mapping[str, str]) -> tuple[str, ...]:
    """Return the mandatory fields that the values leave blank, in the standard's order."""
    return tuple(field.name for field in title_fields() if field.mandatory and not values.get(field.name, "").strip())


def check_title_fields(values: Mapping[str, str], where: str) -> None:
    """Check that every value has a field and fits it.

    Raises:
        StandardError: an unknown field (the nearest is named), or a text longer than ISO 7200 allows.
    """
    known = {field.name: field for field in title_fields()}
    for name, text in values.items():
        if name not in known:
            guess = nearest(name, list(known))
            raise StandardError(f"{where}: {name!r} is not a title block field{guess}; ISO 7200 has {', '.join(known)}")
        limit = known[name].characters
        if limit is not None and len(text) > limit:
            raise StandardError(f"{where}: {name} {text!r} has {len(text)} characters; ISO 7200 allows {limit}; shorten it")


def _field(row: TableRow) -> TitleField:
    characters = row.text("characters")
    return TitleField(row.text("field"), int(characters) if characters else None, row.text("mandatory") == "yes")
