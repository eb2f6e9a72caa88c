"""Files of readings: what is read, what is said, what is refused and where it stood."""

from pathlib import Path

import pytest

from geom.errors import ReadingError
from geom.model.part import Part
from geom.readings.files import load_readings
from geom.readings.records import SIGMA, Readings
from geom.readings.table import pointed
from geom.recognise.part import recognise
from tests.catalogue import bolt_circle_cover, drafted_block

TOUCHES = "# units: mm\n# tip: 6 mm\n# sigma: 0.02 mm\n# frame: mill readout\nface,x,y,z,probe,approach,sigma,note\n"


@pytest.fixture(scope="module")
def part() -> Part:
    return recognise("block", "grey iron", *drafted_block())


def one(folder: Path, part: Part, name: str, text: str, units: str = "mm") -> Readings:
    (folder / name).write_bytes(text.encode())
    return load_readings(folder, part, units)[0]


def test_a_touch_line_by_hand(tmp_path, part):
    """A touch keeps its point, half the tip's diameter, its own or the file's sigma, and where it stood."""
    found = one(tmp_path, part, "touches.csv", TOUCHES + "top,10,20.5,36,,-z,,\nleft,-6,1,2,10,+x,0.1,by eye\n")

    first, second = found.touches
    assert (first.face, first.point, first.tip_radius, first.sigma) == ("top", (10.0, 20.5, 36.0), 3.0, 0.02)
    assert (first.approach, first.source) == ((0.0, 0.0, -1.0), "readings/touches.csv line 6".replace("readings", tmp_path.name))
    assert (second.tip_radius, second.sigma, second.approach) == (5.0, 0.1, (1.0, 0.0, 0.0))
    assert found.frame == "mill readout"
    assert found.warnings == ()


def test_an_empty_coordinate_is_known_to_be_unread(tmp_path, part):
    """An edge finder gives one coordinate; the others stay open."""
    assert one(tmp_path, part, "touches.csv", TOUCHES + "left,-6,,\n").touches[0].known == (True, False, False)


def test_inch_and_mm_files_say_the_same(tmp_path, part):
    """1 inch is 25.4 mm in every column, the tip and sigma too."""
    for name in "ab":
        (tmp_path / name).mkdir()
    body = "face,x,y,z\ntop,{0},{1},{2}\n"
    (tmp_path / "a/touches.csv").write_text("# units: inch\n# tip: 0.25\n# sigma: 0.001\n" + body.format(1, 0.5, "1 1/2"))
    (tmp_path / "b/touches.csv").write_text("# units: mm\n# tip: 6.35\n# sigma: 0.0254\n" + body.format(25.4, 12.7, 38.1))
    inch, mm = load_readings(tmp_path, part, "mm")

    assert (inch.name, mm.name) == ("a", "b")
    assert inch.touches[0].point == mm.touches[0].point == (25.4, 12.7, 38.1)
    assert inch.touches[0].tip_radius == mm.touches[0].tip_radius == 3.175
    assert inch.touches[0].sigma == mm.touches[0].sigma == 0.0254


def test_decimal_commas_are_read_and_said(tmp_path, part):
    """A table from a spreadsheet with decimal commas is read, and the answer says so."""
    found = one(tmp_path, part, "thicknesses.csv", "# units: mm\nface a;face b;thickness;at\nleft;right;66,125;30,5 20 12\n")

    assert (found.thicknesses[0].value, found.thicknesses[0].at) == (66.125, (30.5, 20.0, 12.0))
    assert "line 3: '66,125' and 1 more read with a decimal comma, as 66.125" in found.warnings[0]


@pytest.mark.parametrize(
    ("written", "read"), [("1,5", "1.5"), ("-,5", "-.5"), ("1,234.5", "1,234.5"), ("12", "12"), ("1,234", "1.234")]
)
def test_a_comma_is_a_decimal_point_unless_there_is_one(written, read):
    """A number with both comma and point stays as it is, and is refused later."""
    assert pointed(written) == read


def test_a_row_that_ends_before_its_coordinates_is_named(tmp_path, part):
    """A line cut off looks like one whose z was not read: it counts as that, and the answer says so."""
    found = one(tmp_path, part, "touches.csv", "# units: mm\n# tip: 6 mm\nface,x,y,z,note\ntop,1,2,33\ntop,1,2\n")

    assert [w for w in found.warnings if "cells" in w] == [
        f"{tmp_path.name}/touches.csv line 5: has 3 cells, the column names are 5; z counted as not read"
    ]
    assert found.touches[1].known == (True, True, False)


def test_every_kind_is_read(tmp_path, part):
    """Heights with their seat, low spots, cuts and the scan note."""
    (tmp_path / "heights.csv").write_text("# units: mm\n# seat: bottom\nface,height,at\ntop,36.2,30 20 33\n")
    (tmp_path / "low_spots.csv").write_text("# units: mm\nface,at,size,depth\ntop,30 20 33,30 x 20,0.4\n")
    (tmp_path / "cuts.csv").write_text("# units: mm\nface,cut,at,size,depth,sigma\nbottom,1.2,,30x20,0.3,0.05\n")
    (tmp_path / "scan.toml").write_text('file = "s.stl"\nunit = "inch"\nsigma = "0.05 mm"\n[points]\ntop = [1, 2.0, 3]\n')
    (tmp_path / "s.stl").write_bytes(b"solid")
    found = load_readings(tmp_path, part, "mm")[0]

    assert (found.heights[0].seat, found.heights[0].direction, found.heights[0].value) == ("bottom", (0.0, 0.0, 1.0), 36.2)
    assert found.heights[0].sigma == SIGMA["height"]
    assert (found.low_spots[0].size, found.low_spots[0].depth) == ((30.0, 20.0), 0.4)
    assert (found.cuts[0].cut, found.cuts[0].depth, found.cuts[0].sigma, found.cuts[0].at) == (1.2, 0.3, 0.05, None)
    assert found.scan is not None
    assert (found.scan.unit, found.scan.sigma) == ("inch", 0.05)
    assert found.scan.hints[0].point == pytest.approx((25.4, 50.8, 76.2))
    assert found.count == 3


def test_a_file_without_unit_takes_the_jobs_and_says_so(tmp_path, part):
    """The unit of a file that does not say is the job's; the warning tells how to say it."""
    found = one(tmp_path, part, "thicknesses.csv", "face a,face b,thickness\nleft,right,2.6\n", "inch")

    assert found.thicknesses[0].value == pytest.approx(66.04)
    assert "taken as inch" in found.warnings[0]


def test_a_repeated_reading_is_named(tmp_path, part):
    """The same number at the same place twice is most likely copied, and is named with both lines."""
    found = one(tmp_path, part, "touches.csv", TOUCHES + "top,1,2,36\ntop,5,2,36\ntop,1,2,36\n")

    assert len(found.warnings) == 1
    assert "line 8: repeats" in found.warnings[0]
    assert "line 6" in found.warnings[0]


BAD_LINES = [
    ("touches.csv", TOUCHES + "topp,1,2,3\n", r'line 6: .*"topp".*did you mean "top"'),
    ("touches.csv", TOUCHES + "top,1,two,3\n", r"line 6, y: 'two' is not a length"),
    ("touches.csv", TOUCHES + "top,1,nan,3\n", r"line 6, y: 'nan'"),
    ("touches.csv", TOUCHES + "top,1,1e400,3\n", r"line 6, y: "),
    ("touches.csv", TOUCHES + "top,1,2,3,-4\n", r"line 6: probe is '-4'"),
    ("touches.csv", TOUCHES + "top,1,2,3,4,down\n", r"line 6: approach is 'down'; write \+x"),
    ("touches.csv", TOUCHES + "top,1,2,3,4,-z,0\n", r"line 6: sigma is '0'; it must be above 0"),
    ("touches.csv", TOUCHES + "top,1,2,3,4,-z,0.1,a,b,c\n", r"line 6: has 10 cells, the column names are 8"),
    ("touches.csv", TOUCHES + ",1,2,3\n", r"line 6: names no face"),
    ("touches.csv", TOUCHES + "top,,,\n", r"line 6: x, y and z are all empty"),
    ("touches.csv", TOUCHES, r"has column names but no reading"),
    ("touches.csv", "", r"holds no line of readings"),
    ("touches.csv", "# units: furlong\nface,x,y,z\ntop,1,2,3\n", r"line 1: unit 'furlong' is not known"),
    ("touches.csv", "# tip: 6 mm\n# tip: 5 mm\nface,x,y,z\ntop,1,2,3\n", r"line 2: says 'tip' a second time"),
    (
        "touches.csv",
        "face,x,y,zz\ntop,1,2,3\n",
        r"line 1: 'zz' is not a column \(did you mean 'z'\?\)|line 1: 'zz' is not a column",
    ),
    ("touches.csv", "face,x,x,z\ntop,1,2,3\n", r"line 1: column 'x' stands there twice"),
    ("touches.csv", 'face,x,y,z\n"top,1,2,3\n', r"line 2: cannot be read as cells"),
    ("touches.csv", "face,x,y,z\ntop,1\0,2,3\n", r"is not text"),
    ("heights.csv", "# units: mm\nface,height\ntop,36\n", r"does not say which face stands on the plate"),
    ("heights.csv", "# units: mm\n# seat: floor\nface,height\ntop,36\n", r'line 2: .*"floor"'),
    ("heights.csv", "# units: mm\n# seat: bottom\nface,height\ntop,\n", r"line 4: height is empty"),
    ("thicknesses.csv", "# units: mm\nface a,face b,thickness\nleft,,66\n", r"line 3: face b is empty"),
    (
        "thicknesses.csv",
        "# units: mm\nface a,face b,thickness\nleft,right,-66\n",
        r"line 3: thickness is '-66'; it must be above 0",
    ),
    (
        "thicknesses.csv",
        "# units: mm\nface a,face b,thickness,at\nleft,right,66,3 4\n",
        r"line 3: at is '3 4'; write three numbers",
    ),
    (
        "thicknesses.csv",
        "# units: mm\nface a,face b,thickness,at,sigma\nleft,right,66,,90\n",
        r"line 3: sigma is 90.0 mm; .* the limit is 25.0 mm",
    ),
    ("low_spots.csv", "# units: mm\nface,at,size,depth\ntop,,30,0.4\n", r"line 3: size is '30'; write length and width"),
    ("low_spots.csv", "# units: mm\nface,at,size,depth\ntop,,30 x 20,0\n", r"line 3: depth is '0'"),
    ("cuts.csv", "# units: mm\nface,cut,at,size,depth\ntop,0,,30 x 20,0.2\n", r"line 3: cut is '0'"),
    ("scan.toml", "file = 3\n", r"does not say the unit of the scan"),
    ("scan.toml", 'unit = "furlong"\nfile = "a.stl"\n', r"unit: 'furlong' is not known"),
    ("scan.toml", 'unit = "mm"\nfile = "../a.stl"\n', r"is outside the folder of readings"),
    ("scan.toml", 'unit = "mm"\nfile = "a.stl"\n', r"there is no 'a.stl' beside scan.toml"),
    ("scan.toml", 'unit = "mm"\nfille = "a.stl"\n', r"fille: is no key of a scan \(did you mean 'file'\?\)"),
    ("scan.toml", "unit = mm\n", r"is not TOML"),
    ("touch.csv", "face,x,y,z\ntop,1,2,3\n", r"touch.csv: is no file of readings \(did you mean 'touches.csv'\?\)"),
]


@pytest.mark.parametrize(("name", "text", "said"), BAD_LINES)
def test_a_bad_line_is_refused_with_its_place(tmp_path, part, name, text, said):
    """Every refusal names file and line and what to write instead."""
    with pytest.raises(ReadingError, match=said) as caught:
        one(tmp_path, part, name, text)
    assert name in str(caught.value)
    assert "\n" not in str(caught.value)


def test_bytes_that_are_no_text_are_refused(tmp_path, part):
    """A picture or a spreadsheet under a CSV name is refused plainly."""
    (tmp_path / "touches.csv").write_bytes(b"PK\x03\x04\xff\xfe\x00")
    with pytest.raises(ReadingError, match="is not text"):
        load_readings(tmp_path, part, "mm")


def test_no_folder_an_empty_one_and_a_mixed_one_are_refused(tmp_path, part):
    """Readings are in the folder itself or in one folder per casting, not both."""
    with pytest.raises(ReadingError, match="there is no such folder"):
        load_readings(tmp_path / "none", part, "mm")
    with pytest.raises(ReadingError, match="holds no readings"):
        load_readings(tmp_path, part, "mm")
    (tmp_path / "a").mkdir()
    for path in (tmp_path / "a/touches.csv", tmp_path / "touches.csv"):
        path.write_text(TOUCHES + "top,1,2,3\n")
    with pytest.raises(ReadingError, match="several castings get a folder each"):
        load_readings(tmp_path, part, "mm")


def test_a_hole_from_solid_cannot_be_touched(tmp_path):
    """The casting has no hole where one is drilled from solid: the message says so instead of 'no such face'."""
    cover = recognise("cover", "grey iron", *bolt_circle_cover())
    drilled = next(face.name for face in cover.faces if face.state == "hole")
    with pytest.raises(ReadingError, match="drilled from solid"):
        one(tmp_path, cover, "touches.csv", TOUCHES + f"{drilled},1,2,3\n")


def test_marks_of_a_spreadsheet_change_nothing(tmp_path, part):
    """A byte-order mark, CRLF, tabs and trailing empty cells read as plain text would."""
    plain = TOUCHES + "top,10,20.5,36,,-z,,\n"
    first = one(tmp_path, part, "touches.csv", plain).touches
    (tmp_path / "touches.csv").write_bytes(b"\xef\xbb\xbf" + plain.replace(",", "\t").replace("\n", "\r\n").encode())

    assert load_readings(tmp_path, part, "mm")[0].touches == first
