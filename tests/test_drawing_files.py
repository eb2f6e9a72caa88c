"""The drawing's SVG and PDF: well formed, exact in size, text that can be searched, the shipped font only."""

import io
import shutil
import subprocess
from collections import Counter

import numpy as np
import pypdf
import pytest
from lxml import etree

from export.files.sheet2d import Label, ink
from export.fonts import FOLDER
from tests.sheets import INPUTS, NOTES, TITLE, files, sheet

_SVG = "{http://www.w3.org/2000/svg}"
_POINT = 72.0 / 25.4


def _texts(name: str) -> Counter:
    return Counter(p.text for item in sheet(name).items for p in ink(item) if isinstance(p, Label))


# --- SVG ----------------------------------------------------------------------


@pytest.mark.parametrize("name", sorted(INPUTS))
def test_the_svg_is_well_formed_and_of_true_size(name):
    """lxml reads it; width and height are the sheet's in mm, the view box in its proportion."""
    root = etree.fromstring(files(name)["drawing.svg"])
    drawing = sheet(name)
    box = [float(v) for v in root.get("viewBox").split()]

    assert root.tag == f"{_SVG}svg"
    assert (root.get("width"), root.get("height")) == (f"{drawing.width:g}mm", f"{drawing.height:g}mm")
    assert box[:2] == [0.0, 0.0]
    assert box[2] / box[3] == pytest.approx(drawing.width / drawing.height, rel=1e-5)


@pytest.mark.parametrize("name", sorted(INPUTS))
def test_the_svg_keeps_every_text_as_text(name):
    """As many text elements, letter for letter, as the neutral drawing has labels; none turned into outlines."""
    root = etree.fromstring(files(name)["drawing.svg"])

    assert Counter(t.text for t in root.iter(f"{_SVG}text")) == _texts(name)


def test_the_svg_needs_nothing_from_elsewhere():
    """No script, no picture, no style sheet, no address but the name space."""
    text = files("cover")["drawing.svg"].decode()
    kinds = {etree.QName(e).localname for e in etree.fromstring(text.encode()).iter()}

    assert kinds <= {"svg", "title", "rect", "g", "path", "text"}
    assert text.count("http") == 1


def test_a_circle_in_the_svg_is_where_the_drawing_has_it():
    """The 120 mm rim at 1:1: an arc path of radius 60, its y counted downwards."""
    root = etree.fromstring(files("cover")["drawing.svg"])
    outline = next(g for g in root.iter(f"{_SVG}g") if g.get("id") == "outline")
    data = "".join(p.get("d") for p in outline.iter(f"{_SVG}path"))

    assert "A60 60 0 0 0 " in data


# --- PDF ----------------------------------------------------------------------


@pytest.mark.parametrize(("name", "width", "height"), [("cover", 420, 297), ("cube", 420, 297), ("bore", 210, 297)])
def test_the_pdf_is_one_page_of_exactly_the_sheet(name, width, height):
    """A3 420 x 297, A4 210 x 297 mm (ISO 216), to a hundredth of a point; nothing turned or cropped."""
    reader = pypdf.PdfReader(io.BytesIO(files(name)["drawing.pdf"]))
    page = reader.pages[0]

    assert len(reader.pages) == 1
    assert [float(v) for v in page.mediabox] == pytest.approx([0, 0, width * _POINT, height * _POINT], abs=0.01)
    assert list(page.cropbox) == list(page.mediabox)
    assert page.rotation == 0


@pytest.mark.parametrize("name", sorted(INPUTS))
def test_every_word_of_the_sheet_can_be_found_in_the_pdf(name):
    """pypdf extracts each label's words: title, notes, hole table, dimensions with Ø and brackets."""
    text = pypdf.PdfReader(io.BytesIO(files(name)["drawing.pdf"])).pages[0].extract_text()
    words = set(text.split())

    for label in _texts(name):
        assert set(label.split()) <= words, label
    assert TITLE.owner in text
    assert NOTES[0].split()[0] in text


def test_the_pdf_embeds_the_shipped_font_and_no_other():
    """One font program, a subset of DejaVu Sans."""
    reader = pypdf.PdfReader(io.BytesIO(files("cover")["drawing.pdf"]))
    names = set()
    for generation in reader.xref.values():
        for number in generation:
            found = reader.get_object(pypdf.generic.IndirectObject(number, 0, reader))
            if isinstance(found, dict) and found.get("/Type") == "/Font":
                names.add(str(found["/BaseFont"]).split("+")[-1].split("-Identity")[0])

    assert names == {"DejaVuSans"}


def test_the_pdf_holds_no_date():
    """Neither the document's information nor its metadata say when it was made."""
    content = files("cover")["drawing.pdf"]
    reader = pypdf.PdfReader(io.BytesIO(content))

    assert "/CreationDate" not in (reader.metadata or {})
    assert b"CreateDate" not in content
    assert reader.metadata.title == "Cover Ø120 - Casting drawing"


def test_the_pdf_prints_the_frame_at_its_width_and_place(tmp_path):
    """Drawn by poppler at 600 dpi: the frame's left line is 0.7 mm wide, its middle 20 mm from the edge (ISO 5457), to a pixel."""
    if shutil.which("pdftoppm") is None:
        pytest.fail("pdftoppm is not installed; .ci/run installs poppler-utils")
    pdf = tmp_path / "cover.pdf"
    pdf.write_bytes(files("cover")["drawing.pdf"])
    subprocess.run(["pdftoppm", "-r", "600", "-gray", str(pdf), str(tmp_path / "page")], check=True, timeout=60)
    picture = _grey(next(tmp_path.glob("page*.pgm")).read_bytes())
    pixel = 25.4 / 600
    dark = np.flatnonzero(picture[int((297 - 160) / pixel), : int(25 / pixel)] < 128)

    assert picture.shape == pytest.approx((297 / pixel, 420 / pixel), abs=2)
    assert len(dark) * pixel == pytest.approx(0.7, abs=1.5 * pixel)
    assert (dark.mean() + 0.5) * pixel == pytest.approx(20.0, abs=pixel)


def _grey(content: bytes) -> np.ndarray:
    """Return a binary PGM as an array (the format's own definition: P5, width and height, 255, bytes)."""
    kind, size, top, body = content.split(b"\n", 3)
    assert (kind, top) == (b"P5", b"255")
    width, height = map(int, size.split())
    return np.frombuffer(body, dtype=np.uint8).reshape(height, width)


# --- fonts --------------------------------------------------------------------


def test_shipped_fonts_are_small_and_carry_their_licence():
    """Under 400 KiB in all, the licence beside them."""
    assert sum(p.stat().st_size for p in FOLDER.glob("*.ttf")) < 400 * 1024
    licence = (FOLDER / "LICENSE.txt").read_text(encoding="utf-8")
    assert "Bitstream" in licence
    assert "Tavmjong Bah" in licence


@pytest.mark.parametrize("name", ["DejaVuSans.ttf", "DejaVuSans-Bold.ttf", "DejaVuSansMono.ttf"])
def test_shipped_fonts_have_what_sheets_print(name):
    """Latin with accents, Greek, Cyrillic, diameter, degree, plus-minus, arrows and tick boxes."""
    from fontTools.ttLib import TTFont

    has = TTFont(FOLDER / name).getBestCmap()

    for character in "AzÄéřßĳΩπЖя Ø⌀°±×√→↓☐☑":
        assert ord(character) in has, character
