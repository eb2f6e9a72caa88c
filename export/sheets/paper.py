"""A job's set-up sheets as one PDF: a cover, then the sheets of each set-up, on A4 or US letter.

Hands the template words and figures as data, never as markup, so that any name prints as text. Knows
sizes of paper and what the shipped font can print; what is said is worked out by `setup` and `cover`.
"""

import hashlib
import json
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final, Literal, TypeAlias, get_args

from export.files.lettering import CAPITAL, has_character, text_width
from export.files.pdf import set_pdf
from export.number import Units
from export.reports.coordinates import readout_figures
from export.reports.proof_record import ProofRecord
from export.sheets.cover import Cover, cover_of
from export.sheets.setup import SetupSheet, first_measured, setup_sheets
from export.sheets.stock_view import stock_view
from export.sheets.view import Room, View, holding_views, small_view
from geom.job import Record

PaperSize: TypeAlias = Literal["a4", "letter"]
PAPERS: Final[tuple[PaperSize, ...]] = get_args(PaperSize)
SHEETS: Final = "sheets.pdf"

_SIZE: Final[Mapping[PaperSize, tuple[float, float]]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
_MARGIN: Final = 11.0
_COLUMN: Final = (120.0, 172.0)
"""mm: two pictures one below the other, words beside them."""

_POINT: Final = 25.4 / 72.0
_FIGURES: Final = 13.0
"""Points of the figures in tables."""

_BOLD: Final = 1.13
"""How much wider bold figures are than plain ones."""

_LONG: Final = 24
"""Characters of a word that may need breaking."""

_MAY_BREAK: Final = "\u200b"


def usual_paper(units: Units) -> PaperSize:
    """Return the paper a shop that works in these units has."""
    return "letter" if units == "inch" else "a4"


def sheet_files(record: Record, tables: Mapping[str, bytes], proof: ProofRecord, size: PaperSize | None = None) -> dict[str, bytes]:
    """Return the set-up sheets of a job by file name.

    Args:
        tables: its coordinate tables as written.
        proof: of these tables.
        size: of the paper; None for the one that goes with the readout's units.

    Raises:
        OutputError: the typesetter refused.
    """
    units = readout_figures(record.settings).units
    paper = _SIZE[size or usual_paper(units)]
    setups = setup_sheets(record, tables, proof)
    cover = cover_of(record, setups, proof)
    pictures: dict[str, View] = {"stock": stock_view(record, cover.faces, (paper[0] - 2 * _MARGIN, 78.0))}
    room = Room((paper[0] / 2 - _MARGIN - 2.0, 104.0), _COLUMN)
    stacked = []
    for one in setups:
        views = holding_views(record, one.number, room, units)
        pictures |= {f"above{one.number}": views.above, f"front{one.number}": views.front}
        stacked.append(views.stacked)
        pictures[f"small{one.number}"] = small_view(record, one.number, (40.0, 30.0))
    data = _printable(_data(record, setups, cover, proof, pictures, stacked, paper))
    svgs = {f"{name}.svg": view.svg for name, view in pictures.items()}
    data["revision"] = _revision(data, svgs)
    files = svgs | {"data.json": json.dumps(data, ensure_ascii=False, sort_keys=True).encode()}
    return {SHEETS: set_pdf(_plain(f"Set-up sheets: {record.part.name}"), _template(), files)}


def _template() -> bytes:
    return (Path(__file__).parent / "sheets.typ").read_bytes()


def _data(
    record: Record,
    setups: tuple[SetupSheet, ...],
    cover: Cover,
    proof: ProofRecord,
    pictures: Mapping[str, View],
    stacked: Sequence[bool],
    paper: tuple[float, float],
) -> dict[str, Any]:
    placed = first_measured(record)
    return {
        "paper": paper,
        "margin": _MARGIN,
        "figures": _FIGURES,
        "job": record.part.name,
        "casting": "as drawn, not measured" if placed is None else placed.name or "as received",
        "proved": proof.proved,
        "cover": asdict(cover),
        "setups": [
            asdict(one) | {"wide": _widest(one), "stacked": below, "column": _COLUMN[0]}
            for one, below in zip(setups, stacked, strict=True)
        ],
        "pictures": {
            name: {
                "file": f"{name}.svg",
                "width": view.width,
                "height": view.height,
                "zero": view.zero,
                "title": view.title,
                "ratio": view.ratio,
            }
            for name, view in pictures.items()
        },
    }


def _revision(data: Mapping[str, Any], svgs: Mapping[str, bytes]) -> str:
    """Return the first eight hex digits of a hash over everything that is printed."""
    whole = hashlib.sha256(json.dumps(data, sort_keys=True).encode())
    for name in sorted(svgs):
        whole.update(svgs[name])
    return whole.hexdigest()[:8]


def _widest(one: SetupSheet) -> float:
    """Return the width that any figure of a set-up's tables needs, mm."""
    cells = [cell for section in one.sections for line in section.lines for cell in line.cells]
    height = _FIGURES * _POINT * CAPITAL * _BOLD
    return max((text_width(cell, height) for cell in cells), default=0.0)


# --- text -------------------------------------------------------------------


def _printable(value: Any) -> Any:
    """Return data with every text in it fit to print."""
    if isinstance(value, str):
        return _plain(value)
    if isinstance(value, dict):
        return {key: _printable(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [_printable(one) for one in value]
    return value


def _plain(text: str) -> str:
    """Return text in characters of the shipped font: others by their code point; long words may be broken."""
    spelled = "".join(_spelled(c) for c in unicodedata.normalize("NFC", text))
    return " ".join(_breakable(word) for word in spelled.split(" "))


def _spelled(character: str) -> str:
    return character if has_character(character) else f"[U+{ord(character):04X}]"


def _breakable(word: str) -> str:
    """Return a word with places where it may be broken, when it is longer than any line should need."""
    if len(word) <= _LONG:
        return word
    return _MAY_BREAK.join(word[i : i + 8] for i in range(0, len(word), 8))
