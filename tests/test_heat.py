"""The picture of a casting as received: its bands, its pixels, and what stands on the sheet."""

import base64
import struct
import xml.etree.ElementTree as ET
import zlib
from itertools import pairwise
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from export.pictures.bands import INKS, Bands, bands_for, luminance
from export.pictures.heat import heat_files, heat_svg
from export.pictures.picture import flags_on
from export.pictures.raster import png_of, rasterised
from geom.datum.zero import Zero, resolve_zero
from geom.job import Job, load_settings, open_job
from geom.place.castings import Placed, place_castings
from tests.catalogue import block_in_block, drilled_plate
from tests.job_folders import write_job

SVG = "{http://www.w3.org/2000/svg}"


def opened(folder: Path) -> tuple[Job, Placed, Zero]:
    job = open_job(load_settings(folder))
    placed = place_castings(job.part, job.settings, job.needs, lambda _line: None)
    return job, placed[0], resolve_zero(job.part, job.settings.datum)


@pytest.fixture(scope="module")
def block(tmp_path_factory: pytest.TempPathFactory) -> tuple[Job, Placed, Zero]:
    """A 60 x 40 x 30 block with 3 mm all round, 1 mm required, nothing measured."""
    faces = "".join(f"[faces.{name}]\nrequired = 1\n" for name in ("top", "bottom", "left", "right", "front", "back"))
    return opened(write_job(tmp_path_factory.mktemp("jobs") / "block", block_in_block(), faces))


def images(svg: bytes) -> "list[npt.NDArray[np.uint8]]":
    """Return the pixels of the PNG pictures in an SVG, read by the PNG specification's own rules (ISO/IEC 15948)."""
    found = []
    for image in ET.fromstring(svg).iter(f"{SVG}image"):
        found.append(pixels(base64.b64decode(image.attrib["href"].partition("base64,")[2])))
    return found


def pixels(png: bytes) -> "npt.NDArray[np.uint8]":
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    at, data, size = 8, b"", (0, 0)
    while at < len(png):
        length, kind = struct.unpack(">I4s", png[at : at + 8])
        body = png[at + 8 : at + 8 + length]
        assert struct.unpack(">I", png[at + 8 + length : at + 12 + length])[0] == zlib.crc32(kind + body)
        if kind == b"IHDR":
            width, height, depth, colour, *rest = struct.unpack(">IIBBBBB", body)
            assert (depth, colour, rest) == (8, 6, [0, 0, 0])
            size = (height, width)
        data += body if kind == b"IDAT" else b""
        at += 12 + length
    lines = np.frombuffer(zlib.decompress(data), dtype=np.uint8).reshape(size[0], 1 + 4 * size[1])
    assert not lines[:, 0].any()
    return lines[:, 1:].reshape(*size, 4)


# --- bands ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ink", "expected"), [((255, 255, 255), 1.0), ((0, 0, 0), 0.0), ((255, 0, 0), 0.2126), ((0, 0, 255), 0.0722)]
)
def test_luminance_is_that_of_the_srgb_standard(ink: tuple[int, int, int], expected: float):
    """White 1, black 0, full red 0.2126, full blue 0.0722 (IEC 61966-2-1, from memory)."""
    assert luminance(ink) == pytest.approx(expected, abs=1e-9)


def test_grey_119_is_just_too_light_for_text_on_white():
    """#777777 on white has a contrast of 4.48 to 1, short of the 4.5 that accessibility rules ask (WCAG 2, from memory)."""
    assert 1.05 / (luminance((0x77, 0x77, 0x77)) + 0.05) == pytest.approx(4.48, abs=0.005)


def test_more_metal_is_lighter_so_the_order_survives_grey_printing():
    """Each band is lighter than the one before by a contrast of at least 1.1, seen in grey."""
    light = [luminance(ink) for ink in INKS]

    assert light == sorted(light)
    assert all((b + 0.05) / (a + 0.05) > 1.1 for a, b in pairwise(light))


def test_colour_blind_readers_keep_the_order_too():
    """With red and green confused (each replaced by their mean) the bands still get lighter one by one."""
    confused = [luminance(((r + g) // 2, (r + g) // 2, b)) for r, g, b in INKS]

    assert confused == sorted(confused)
    assert len(set(confused)) == len(INKS)


@pytest.mark.parametrize(
    ("required", "units", "labels"),
    [
        (2.8, "mm", ("0", "1", "2", "3", "4", "5", "6")),
        (0.7, "mm", ("0.0", "0.5", "1.0", "1.5", "2.0", "2.5", "3.0")),
        (2.8, "inch", ("0.00", "0.04", "0.08", "0.12", "0.16", "0.20", "0.24")),
    ],
)
def test_band_edges_are_round_lengths_that_reach_twice_the_required_stock(required: float, units: str, labels: tuple[str, ...]):
    """2.8 mm required: even millimetres to 6; on an inch sheet 0.04 in steps to 0.24 in (0.22 is twice the need)."""
    scale = bands_for(required, 9.0, units)  # type: ignore[arg-type]

    assert scale.labels == labels
    assert scale.edges[-1] >= 2 * required


def test_missing_metal_has_a_band_of_its_own_and_an_edge_belongs_above():
    """Below nought is band 0; nought itself, a skin that just touches, is not missing."""
    scale = Bands((0.0, 1.0, 2.0), "mm")

    assert [scale.of(v) for v in (-0.001, 0.0, 0.999, 1.0, 5.0)] == [0, 1, 1, 2, 3]


# --- pixels -----------------------------------------------------------------


def test_a_leaning_triangle_has_the_depth_of_its_plane_at_every_pixel():
    """z = 0.3 x - 0.2 y + 1, read at pixel centres; half of the box is covered."""
    corners = np.array([[(x, y, 0.3 * x - 0.2 * y + 1.0) for x, y in ((0.0, 0.0), (10.0, 0.0), (0.0, 10.0))]])
    raster = rasterised(corners, (0.0, 0.0, 10.0, 10.0), 0.25)
    rows, columns = np.nonzero(raster.triangle >= 0)
    x, y, z = raster.centres(rows, columns).T

    assert np.abs(z - (0.3 * x - 0.2 * y + 1.0)).max() < 1e-9
    assert (raster.triangle >= 0).mean() == pytest.approx(0.5, abs=0.02)


def test_the_nearer_triangle_hides_the_other_and_a_back_is_not_drawn():
    """Three squares' halves over each other: the highest that faces the eye is seen, in any order."""
    near, far = ([(0.0, 0.0, z), (4.0, 0.0, z), (0.0, 4.0, z)] for z in (2.0, 1.0))
    back = [(0.0, 0.0, 9.0), (0.0, 4.0, 9.0), (4.0, 0.0, 9.0)]
    for order, seen in (([far, near, back], 1), ([back, near, far], 1)):
        raster = rasterised(np.array(order), (0.0, 0.0, 4.0, 4.0), 0.5)
        assert raster.triangle[-1, 0] == seen


def test_the_png_gives_back_the_pixels_that_went_in():
    """Every byte, with sound checks over each piece of the file."""
    wanted = np.arange(5 * 7 * 4, dtype=np.uint8).reshape(5, 7, 4)

    assert np.array_equal(pixels(png_of(wanted)), wanted)


# --- flags ------------------------------------------------------------------


def test_flags_keep_clear_of_each_other_and_of_the_part():
    """Ten spots along the edge of a drawn square: no two rings touch, none lies on the square."""
    ink = np.stack(np.meshgrid(np.arange(40.0, 61.0), np.arange(40.0, 61.0)), axis=-1).reshape(-1, 2)
    spots = [(i + 1, (40.0 + 2.0 * i, 40.0)) for i in range(10)]
    flags = flags_on(spots, ink, (0.0, 0.0, 100.0, 100.0))
    at = np.array([f.at for f in flags])
    apart = np.linalg.norm(at[:, None] - at[None], axis=2) + 1e9 * np.eye(len(at))

    assert apart.min() > 4.8
    assert np.linalg.norm(at[:, None] - ink[None], axis=2).min() > 2.4
    assert [f.number for f in flags] == list(range(1, 11))


# --- the sheet --------------------------------------------------------------


def test_the_picture_says_job_verdict_bands_and_every_face(block: tuple[Job, Placed, Zero]):
    """Read back as XML: two views, the band edges in mm, one line for each of the six faces with its 3 mm."""
    job, placed, zero = block
    svg = heat_svg(job.part, placed, zero, "mm")
    texts = [t.text or "" for t in ET.fromstring(svg).iter(f"{SVG}text")]

    assert len(images(svg)) == 2
    assert [t for t in texts if t in ("0.0", "0.5", "1.0", "1.5", "2.0", "2.5", "3.0")] == [
        "0.0",
        "0.5",
        "1.0",
        "1.5",
        "2.0",
        "2.5",
        "3.0",
    ]
    assert sum("3.00 at its thinnest, 1.00 required" in t for t in texts) == 6
    assert any(t.startswith("block") for t in texts)


def test_every_machined_pixel_of_an_even_block_has_the_same_band(block: tuple[Job, Placed, Zero]):
    """3 mm on every face lies in the last band; nothing else is coloured."""
    job, placed, zero = block
    for picture in images(heat_svg(job.part, placed, zero, "mm")):
        inside = picture[picture[..., 3] == 255][:, :3]
        assert len(inside) > 10_000
        assert (inside == np.array(INKS[-1])).all()


def test_inch_sheets_say_inches(block: tuple[Job, Placed, Zero]):
    """3 mm is 0.118 in, and the heading of the scale names the unit."""
    job, placed, zero = block
    texts = [t.text or "" for t in ET.fromstring(heat_svg(job.part, placed, zero, "inch")).iter(f"{SVG}text")]

    assert sum("0.118 at its thinnest, 0.039 required" in t for t in texts) == 6
    assert any(t.startswith("Stock, in,") for t in texts)


def test_the_same_casting_gives_the_same_bytes(block: tuple[Job, Placed, Zero]):
    """SVG and PNG twice over; the PNG is one too."""
    job, placed, zero = block
    first, second = (heat_files(job, placed, zero) for _ in range(2))

    assert first == second
    assert sorted(first) == ["place-heat.png", "place-heat.svg"]
    assert first["place-heat.png"][:8] == b"\x89PNG\r\n\x1a\n"


def test_missing_metal_is_dark_and_hatched_white(tmp_path: Path):
    """A casting 2 mm too low everywhere: its top and bottom cannot both clean up, and the worse shows white strokes on dark."""
    folder = write_job(tmp_path / "low", block_in_block(), "[faces.top]\nrequired = 1\n[placement]\nhold = ['z', 'rx', 'ry']\n")
    (folder / "readings").mkdir()
    text = "# units: mm\n# seat: bottom\n# sigma: 0.05 mm\nface,height,at\n"
    (folder / "readings" / "heights.csv").write_text(text + "".join(f"top,29.0,{x} {y} 33\n" for x in (5, 55) for y in (5, 35)))
    job, placed, zero = opened(folder)
    above = images(heat_svg(job.part, placed, zero, "mm"))[0]
    inside = above[above[..., 3] == 255][:, :3].astype(int)
    dark = (inside == np.array(INKS[0])).all(axis=1).sum()
    white = (inside == 255).all(axis=1).sum()

    assert placed.placement.verdict == "short"
    assert dark > 1000
    assert white / (dark + white) == pytest.approx(0.3, abs=0.05)


def test_holes_from_solid_stay_white(tmp_path: Path):
    """The drilled plate is machined on top only: what is coloured lies in its top face, all else is white."""
    job, placed, zero = opened(write_job(tmp_path / "plate", drilled_plate()))
    below = images(heat_svg(job.part, placed, zero, "mm"))[1]
    inside = below[below[..., 3] == 255][:, :3]

    assert (inside == 255).all()
