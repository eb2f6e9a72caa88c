"""Drawings of catalogue parts, composed once and shared by the tests of drawings and of their files.

`python -m tests.sheets` prints the hash of each file of each drawing: tests run it
in fresh processes with other hash seeds and from other folders.
"""

import hashlib
from dataclasses import replace
from functools import cache

from export.drawing.furniture import TitleFields
from export.drawing.input import DrawingInput
from export.drawing.sheet import drawing_sheet, files_of
from export.files.sheet2d import Sheet
from geom.recognise.part import recognise
from geom.space import Frame
from tests.catalogue import block_with_cored_bore, bolt_circle_cover, cross_drilled_block

TITLE = TitleFields(
    title="Cover Ø120",
    supplementary="of the test catalogue",
    owner="Tests",
    number="ES-0001",
    revision="A",
    date="2024-05-06",
    creator="A. Maker",
    approver="B. Checker",
    department="Pattern shop",
    reference="C. Foundry",
    document_type="Casting drawing",
    language="en",
    material="grey iron",
    mass="1.23 kg",
)
NOTES = ("Phantom lines show the finished part.", "Zero: X 0 and Y 0 are the axis of the bore, Z 0 is its top; X points right.")
WHERE = "job.toml, [drawing]"


def _input(name: str, pair: object, zero: Frame, **more: object) -> DrawingInput:
    part = recognise(name, "grey iron", *pair)  # type: ignore[misc]
    allowances = {face.name: 2.0 for face in part.machined}
    plain = DrawingInput(part, zero, "mm", "A3", "first", TITLE, allowances, NOTES, WHERE)
    return replace(plain, **more)  # type: ignore[arg-type]


@cache
def cover_input() -> DrawingInput:
    """The bolt-circle cover: 120 x 15 finished, 19 as cast; bore 40, six 9 mm holes on 90; zero on the bore, Z 0 on top."""
    return _input("cover", bolt_circle_cover(), Frame((0.0, 0.0, 15.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)))


@cache
def cube_input() -> DrawingInput:
    """The cross-drilled cube: a hole each in +X, -Y and +Z; the zero a quarter turned, X along the part's Y."""
    zero = Frame((25.0, 25.0, 50.0), (0.0, 1.0, 0.0), (-1.0, 0.0, 0.0), (0.0, 0.0, 1.0))
    return _input("cube", cross_drilled_block(), zero, units="inch", projection="third")


@cache
def bore_input() -> DrawingInput:
    """A block with a cored bore, 34 as cast and 40 finished, on A4."""
    pair = block_with_cored_bore()
    low, high = pair[0].box
    zero = Frame(((low[0] + high[0]) / 2, (low[1] + high[1]) / 2, high[2]), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
    return _input("bored block", pair, zero, sheet="A4")


@cache
def sheet(name: str) -> Sheet:
    """Return the composed sheet of "cover", "cube" or "bore"."""
    return drawing_sheet(INPUTS[name]())


@cache
def files(name: str) -> dict[str, bytes]:
    """Return the three files of a drawing."""
    return files_of(INPUTS[name]())


INPUTS = {"cover": cover_input, "cube": cube_input, "bore": bore_input}


if __name__ == "__main__":
    for drawing in INPUTS:
        for file, content in files(drawing).items():
            print(drawing, file, hashlib.sha256(content).hexdigest())
