"""Set-up sheets on paper, read back by pypdf, which knows nothing of how they were set.

Two small jobs, one in mm and one in inches, set once each; sizes of paper are ISO 216 and ANSI Y14.1 (from memory).
"""

import csv
import re
from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from functools import cache
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pypdf
import pytest

from export.number import fixed
from export.reports.coordinates import coordinate_files
from export.reports.proof_record import Failure, ProofRecord
from export.reports.prove import proof_record, prove_tables
from export.sheets.paper import SHEETS, sheet_files
from export.sheets.table import sections
from geom.job import Record, finish, load_settings, open_job
from geom.rows.plan import Blocked, Plan
from tests.catalogue import drilled_plate
from tests.job_folders import write_job

HOSTILE = (
    "<b>bold</b> #let x = 1 $y^2$ \\n \\",
    "[*not strong*] _under_ @ref `raw` // ~",
    "pump 🔧 cover",
    "מכסה משאבה",
    "x" * 200,
    "long " * 40,
)


@cache
def made(units: str) -> tuple[Record, Mapping[str, bytes], ProofRecord]:
    """Return a plate with a hole of each kind, its tables and their proof."""
    with TemporaryDirectory() as folder:
        record = finish(open_job(load_settings(write_job(Path(folder) / "plate", drilled_plate(), units=units))))
    tables = coordinate_files(record)
    return record, tables, proof_record(prove_tables(record.job, tables))


@cache
def sheet_bytes(units: str, size: Any = None) -> bytes:
    record, tables, proof = made(units)
    return sheet_files(record, tables, proof, size)[SHEETS]


def reader(content: bytes) -> pypdf.PdfReader:
    return pypdf.PdfReader(BytesIO(content))


def texts(content: bytes) -> list[str]:
    return [page.extract_text() for page in reader(content).pages]


def csv_rows(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(line for line in content.decode().splitlines() if not line.startswith("#")))


def pieces(page: pypdf.PageObject) -> list[tuple[float, float, float, str]]:
    """Return every piece of text with its x, y and true size in points, from the text matrix times the page's."""
    found: list[tuple[float, float, float, str]] = []

    def visit(text: str, cm: list[float], tm: list[float], _font: object, size: float) -> None:
        if text.strip():
            x = cm[0] * tm[4] + cm[2] * tm[5] + cm[4]
            y = cm[1] * tm[4] + cm[3] * tm[5] + cm[5]
            found.append((x, y, abs(size * tm[3] * cm[3]), text.strip()))

    page.extract_text(visitor_text=visit)
    return found


NUMBER = re.compile(r"-?\d+\.\d+")
BAND = re.compile(r"T\d+  ")


def row_numbers(page: pypdf.PageObject) -> list[tuple[float, str]]:
    """Return the height and the text of every row number of a page of a table: right of the tick box, left of the feature."""
    said = pieces(page) if "feature, action" in page.extract_text() else []
    return [(y, text) for x, y, size, text in said if 55.0 < x < 84.0 and size > 10.0 and text.isdigit()]


@pytest.mark.parametrize("units", ["mm", "inch"])
def test_every_coordinate_on_paper_is_the_tables(units: str) -> None:
    """Row by row, in order: what stands beside each row number on paper is the CSV's, and no row is left out or there twice."""
    record, tables, _ = made(units)
    printed = []
    for page in reader(sheet_bytes(units)).pages:
        said = pieces(page)
        for height, number in row_numbers(page):
            beside = sorted((x, text) for x, y, _, text in said if abs(y - height) < 4.0 and x >= 84.0)
            words = [text for _, text in beside]
            printed.append((number, " ".join(words), [text for text in words if NUMBER.fullmatch(text)]))
    expected = [row for setup in record.setups for row in csv_rows(tables[f"coordinates-{setup.number}.csv"])]

    assert [number for number, _, _ in printed] == [row["row"] for row in expected]
    for (number, words, figures), row in zip(printed, expected, strict=True):
        cells = [row[c] for c in ("x", "y", "z", "x_to", "y_to", "z_full") if row[c]]
        assert figures[: len(cells)] == cells, (number, words)
        assert words.startswith(row["feature"]), (number, words)


def test_no_row_is_on_paper_that_the_table_has_not() -> None:
    """As many tick boxes' rows as the tables have."""
    record, tables, proof = made("mm")
    for setup in record.setups:
        name = f"coordinates-{setup.number}.csv"
        lines = [line for section in sections(name, tables[name], proof) for line in section.lines]
        assert [line.number for line in lines] == [row["row"] for row in csv_rows(tables[name])]


@pytest.mark.parametrize(
    ("units", "size", "points"),
    [
        ("mm", None, (595.28, 841.89)),
        ("inch", None, (612.0, 792.0)),
        ("mm", "letter", (612.0, 792.0)),
        ("inch", "a4", (595.28, 841.89)),
    ],
)
def test_the_paper_is_the_shops(units: str, size: str | None, points: tuple[float, float]) -> None:
    """A4 is 210 x 297 mm, letter 8.5 x 11 in, upright; each page says which of how many it is."""
    pages = reader(sheet_bytes(units, size)).pages

    assert len(pages) >= 3
    for number, page in enumerate(pages, 1):
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(points, abs=0.1)
        assert f"page {number} of {len(pages)}" in page.extract_text()


@pytest.mark.parametrize("units", ["mm", "inch"])
def test_every_font_is_in_the_file(units: str) -> None:
    """Whoever prints it needs no font: each has a font file embedded, and each is one of the shipped family."""
    seen = 0
    for page in reader(sheet_bytes(units)).pages:
        for font in page["/Resources"]["/Font"].values():
            below = font.get_object()["/DescendantFonts"][0].get_object()
            told = below["/FontDescriptor"].get_object()
            assert {"/FontFile2", "/FontFile3"} & set(told), told
            assert "DejaVu" in told["/FontName"]
            seen += 1
    assert seen


def test_the_same_sheets_twice_are_the_same_bytes() -> None:
    """No clock, no chance."""
    record, tables, proof = made("mm")

    assert sheet_files(record, tables, proof)[SHEETS] == sheet_bytes("mm")


def test_the_check_bar_is_a_hundred_millimetres_long() -> None:
    """On the cover and on the first page of each set-up, in the file's own units: 100 / 25.4 x 72 = 283.465 points."""
    record, _, _ = made("mm")
    with_bar = [page for page in reader(sheet_bytes("mm")).pages if "100 mm between the ends" in page.extract_text()]

    assert len(with_bar) == 1 + len(record.setups)
    for page in with_bar:
        assert any(length == pytest.approx(283.465, abs=0.01) for length in level_lines(page))


def level_lines(page: pypdf.PageObject) -> list[float]:
    """Return the length in points of every level straight line, its matrix applied."""
    content = pypdf.generic.ContentStream(page["/Contents"].get_object(), page.pdf)
    scale, stack, found, start = 1.0, [], [], (0.0, 0.0)
    for operands, operator in content.operations:
        if operator == b"q":
            stack.append(scale)
        elif operator == b"Q":
            scale = stack.pop()
        elif operator == b"cm":
            scale *= float(operands[0])
        elif operator == b"m":
            start = (float(operands[0]), float(operands[1]))
        elif operator == b"l":
            end = (float(operands[0]), float(operands[1]))
            if abs(end[1] - start[1]) < 1e-6:
                found.append(abs(end[0] - start[0]) * abs(scale))
            start = end
    return found


@pytest.mark.parametrize("units", ["mm", "inch"])
def test_figures_in_tables_can_be_read_at_arms_length(units: str) -> None:
    """Every coordinate of a row stands in 11 points or more, from the text matrix; nothing at all below 7."""
    _, tables, _ = made(units)
    cells = {
        row[c] for name in tables if name.endswith(".csv") for row in csv_rows(tables[name]) for c in ("x", "y", "z") if row[c]
    }
    sizes: dict[str, float] = {}
    for page in reader(sheet_bytes(units)).pages:
        for _, _, size, text in pieces(page):
            assert size > 4.0, text
            if text in cells:
                sizes[text] = max(sizes.get(text, 0.0), size)

    assert set(sizes) == cells
    assert min(sizes.values()) >= 11.0


@pytest.mark.parametrize("units", ["mm", "inch"])
def test_everything_stands_on_the_page(units: str) -> None:
    """Each piece of text begins inside the margins."""
    for page in reader(sheet_bytes(units)).pages:
        for x, y, _, text in pieces(page):
            assert 25.0 < x < float(page.mediabox.width) - 25.0, text
            assert 15.0 < y < float(page.mediabox.height) - 15.0, text


def test_a_sheet_never_mixes_millimetres_and_inches() -> None:
    """Words of the other unit are nowhere, but for the metric threads and cutters that are called so."""
    assert not [
        line for text in texts(sheet_bytes("mm")) for line in text.splitlines() if re.search(r"\d in\b(?! set-up)|\binch", line)
    ]
    inch = "\n".join(texts(sheet_bytes("inch")))
    record, tables, proof = made("inch")
    names = {
        s.name for n in record.setups for s in sections(f"coordinates-{n.number}.csv", tables[f"coordinates-{n.number}.csv"], proof)
    }
    for name in sorted((name for name in names if " mm " in f" {name} "), key=len, reverse=True):
        inch = inch.replace(name, "")
    inch = re.sub(r"no \d+(\.\d+)? mm drill", "", inch)  # the name of a drill the shop has not
    assert not [line for line in inch.splitlines() if re.search(r"\bmm\b", line)]


def test_not_proved_stands_across_every_page() -> None:
    """One row with a fault: the words on every page, the reason on the set-up's first page, and a mark at the row."""
    record, tables, proof = made("mm")
    failed = Failure(((1, 2),), record.setups[0].rows[1].feature, ("gouged by ", 0.5))
    content = sheet_files(record, tables, replace(proof, proved=False, failures=(failed,)))[SHEETS]
    said = texts(content)

    assert all("NOT PROVED" in re.sub(r"\s+", " ", text) for text in said)
    assert not any("NOT PROVED" in text for text in texts(sheet_bytes("mm")))
    assert not any("PROVED as drawn" in text for text in said)
    assert sum("FAILS: set-up 1 row 2" in text for text in said) == 1
    assert all("PROVED as drawn: worst deviation" in text for text in texts(sheet_bytes("mm")))


def test_a_proved_sheet_names_its_table_by_hash() -> None:
    """The whole SHA-256 of the CSV, for whoever wants to know which table a paper was printed from."""
    record, _, proof = made("mm")
    joined = re.sub(r"\s+", "", "".join(texts(sheet_bytes("mm"))))

    for setup in record.setups:
        assert proof.hash_of(setup.number) in joined


def test_a_tool_never_stands_alone_at_the_foot_of_a_page() -> None:
    """Below every tool's band there is at least one row on the same page, before the next band."""
    for units in ("mm", "inch"):
        for page in reader(sheet_bytes(units)).pages:
            bands = sorted((y for _, y, size, text in pieces(page) if BAND.match(text) and size > 11.0), reverse=True)
            rows = [y for y, _ in row_numbers(page)]
            for band, following in pairwise([*bands, 0.0]):
                assert any(following < y < band for y in rows), (units, band)


@pytest.mark.parametrize("name", [HOSTILE[0], HOSTILE[4]])
def test_hostile_names_print_as_text(name: str) -> None:
    """Markup, code points the font has not, 200 letters: set without a warning, said or spelled, nothing pushed off the page."""
    record, tables, proof = made("mm")
    first = record.setups[0]
    called = dict(zip(first.features, HOSTILE, strict=False))
    faces, holes = (
        tuple(replace(f, name=called.get(f.name, f.name)) for f in some) for some in (record.part.faces, record.part.holes)
    )
    stock = replace(record.stock, faces=tuple(replace(f, name=called.get(f.name, f.name)) for f in record.stock.faces))
    setups = (replace(first, features=tuple(called.get(f, f) for f in first.features)), *record.setups[1:])
    part = replace(record.part, name=name, faces=faces, holes=holes)
    content = sheet_files(replace(record, job=replace(record.job, part=part), stock=stock, setups=setups), tables, proof)[SHEETS]
    said = re.sub(r"\s|\u200b", "", "".join(texts(content)))

    assert len(called) == len(HOSTILE)
    for one in HOSTILE:
        spelled = "".join(c if ord(c) < 0x500 else f"[U+{ord(c):04X}]" for c in one)
        assert re.sub(r"\s", "", spelled)[:20] in said
    for page in reader(content).pages:
        for x, _, _, text in pieces(page):
            assert x < float(page.mediabox.width) - 25.0, text


def test_the_sheet_says_what_it_rests_on() -> None:
    """Nothing was measured on this casting, and the sheets of every set-up say so."""
    record, _, _ = made("mm")

    assert sum("as drawn: not measured" in re.sub(r"\s+", " ", text) for text in texts(sheet_bytes("mm"))) == 1 + len(record.setups)


def test_the_cover_says_what_comes_out_otherwise_than_drawn() -> None:
    """In a box above the picture: a corner that no cutter leaves square is not found out at the last of fourteen pages."""
    record, tables, proof = made("mm")
    assert isinstance(record.plan, Plan)
    corner = Blocked("left 2, back 3", ("the inner corners are drawn square",), ("a file after the cutter",))
    other = replace(record, plan=replace(record.plan, round_left=(corner,)))
    cover = texts(sheet_files(other, tables, proof, None)[SHEETS])[0]

    assert "Comes out not as drawn" in cover
    assert "left 2, back 3: the inner corners are drawn square. What would open it: a file after the cutter" in " ".join(
        cover.split()
    )
    assert "not as drawn" not in texts(sheet_bytes("mm"))[0]


def test_the_cover_weighs_the_metal() -> None:
    """Casting less finished part is swarf, in the figures on paper (kg, to the last one)."""
    weights = {
        name: Decimal(value)
        for name, value in re.findall(r"(casting|finished part|swarf)\s+(\d+\.\d+) kg", texts(sheet_bytes("mm"))[0])
    }
    record, _, _ = made("mm")

    assert float(weights["casting"] - weights["finished part"]) == pytest.approx(float(weights["swarf"]), abs=0.011)
    assert fixed(record.stock.casting_mass, 2)[:3] in str(weights["casting"])
