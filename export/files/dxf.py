"""A neutral drawing as DXF R2010: the part full size in model space, the sheet round it.

The drawing unit is the sheet's (mm or inch). Paper sizes (text, line patterns,
arrowheads, frame) are multiplied by the drawing's scale, so that plotting at
the stated scale gives the sheet. Each dimension is a real DIMENSION entity
that carries the same ink as the SVG. Sole importer of ezdxf.
"""

import io
import math
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final

from export.files.lettering import text_width
from export.files.sheet2d import (
    ARROW,
    LINE_WIDTH,
    PATTERN,
    TEXT,
    Fill,
    Ink,
    Item,
    Label,
    Leader,
    LinearDimension,
    OrdinateDimension,
    Role,
    Sheet,
    Stroke,
    ink,
    leader_label,
    pattern_scale,
)
from export.fonts import FOLDER, SANS_FILE
from geom.flat.curve2d import Arc, EllipseArc, Line, Spline, Vec2, curve_length
from geom.units import unit_size

_STYLE: Final = "EVENSTOCK"

LAYER: Final[dict[Role, str]] = {role: role.upper() for role in LINE_WIDTH}
_COLOUR: Final[dict[Role, int]] = {
    "outline": 7,
    "hidden": 8,
    "smooth": 9,
    "centre": 1,
    "phantom": 5,
    "dimension": 7,
    "symbol": 5,
    "frame": 7,
    "rule": 7,
    "text": 7,
}
"""Screen colours (DXF colour index); prints are black."""

_LINETYPE: Final[dict[Role, str]] = {"hidden": "DASHED", "centre": "CENTER", "phantom": "PHANTOM"}
_INSERT_UNITS: Final = {"mm": 4, "inch": 1}
_USER_PLACED_TEXT: Final = 128


def dxf_bytes(sheet: Sheet) -> bytes:
    """Return the drawing as an ASCII DXF file (AC1024), the same bytes every time."""
    import ezdxf

    with _shipped_fonts_only(), _fixed_metadata():
        document = ezdxf.new("R2010", setup=False, units=_INSERT_UNITS[sheet.units])
        _Writer(sheet, document).write()
        for name in sorted(document.entitydb.dxf_types_in_use()):
            document.classes.add_class(name)
        stream = io.StringIO(newline="\n")
        document.write(stream)
    return stream.getvalue().encode("utf-8", "surrogateescape")


@contextmanager
def _fixed_metadata() -> Iterator[None]:
    import ezdxf

    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before


@contextmanager
def _shipped_fonts_only() -> Iterator[None]:
    """Measure text with the shipped fonts, so that the machine's own cannot change a byte."""
    from ezdxf.fonts import fonts

    fonts.font_manager.clear()
    fonts.font_manager.build([str(FOLDER)], support_dirs=False)
    yield


class _Writer:
    """One DXF document being filled from one sheet."""

    def __init__(self, sheet: Sheet, document: Any) -> None:
        self.sheet = sheet
        self.document = document
        self.space = document.modelspace()
        self.factor = sheet.reduction / sheet.scale / unit_size(sheet.units)
        self.styles: dict[str, Any] = {}

    def write(self) -> None:
        self._tables()
        for item in self.sheet.items:
            self._item(item)
        self._extents()

    # --- tables and header ---------------------------------------------------

    def _tables(self) -> None:
        document, header = self.document, self.document.header
        header["$MEASUREMENT"] = 0 if self.sheet.units == "inch" else 1
        header["$LTSCALE"] = self._n(1.0)
        header["$LUNITS"] = 2
        header["$LUPREC"] = 4
        document.styles.add(_STYLE, font=SANS_FILE)
        for role, name in _LINETYPE.items():
            document.linetypes.add(name, pattern=_dxf_pattern(PATTERN[role]), description=f"{name.capitalize()} (mm on paper)")
        for role, name in LAYER.items():
            width = _line_weight(LINE_WIDTH[role] * self.sheet.reduction)
            document.layers.add(name, color=_COLOUR[role], linetype=_LINETYPE.get(role, "CONTINUOUS"), lineweight=width)
        places = {i.places for i in self.sheet.items if isinstance(i, LinearDimension | OrdinateDimension)}
        for count in sorted(places):
            self._dimension_style(count, False).copy_to_header(document)
            self._dimension_style(count, True)

    def _dimension_style(self, places: int, from_zero: bool) -> Any:
        name = _style_name(places, from_zero)
        if name not in self.styles:
            style = self.document.dimstyles.duplicate_entry("Standard", name)
            style.update_dxf_attribs(_dimension_variables(places, self._n(1.0)))
            if from_zero:
                style.set_arrows(blk1="ORIGIN")
                self.document.acquire_arrow("ORIGIN")
            self.styles[name] = style
        return self.styles[name]

    def _extents(self) -> None:
        far = self._p(self.sheet.extent)
        header = self.document.header
        header["$EXTMIN"], header["$EXTMAX"] = (0.0, 0.0, 0.0), (*far, 0.0)
        header["$LIMMIN"], header["$LIMMAX"] = (0.0, 0.0), far
        # Some viewers print model space straight away, on the paper and at the scale that these two give.
        unit = unit_size(self.sheet.units)
        self.document.paperspace().reset_limits((0.0, 0.0), (round(self.sheet.width / unit, 9), round(self.sheet.height / unit, 9)))
        header["$PSVPSCALE"] = self.sheet.scale
        self.space.reset_extents((0.0, 0.0, 0.0), (*far, 0.0))
        self.space.reset_limits((0.0, 0.0), far)
        self.document.set_modelspace_vport(height=far[1] * 1.05, center=(far[0] / 2, far[1] / 2))

    # --- items ---------------------------------------------------------------

    def _item(self, item: Item) -> None:
        match item:
            case LinearDimension():
                self._linear(item)
            case OrdinateDimension():
                self._ordinate(item)
            case Leader():
                self._leader(item)
            case Stroke() | Label() | Fill():
                self._ink(self.space, item)

    def _linear(self, item: LinearDimension) -> None:
        foot = (item.second[0], item.base[1]) if item.turn == 0 else (item.base[0], item.second[1])
        made = self.space.add_linear_dim(
            base=self._p(foot),
            p1=self._p(item.first),
            p2=self._p(item.second),
            angle=item.turn,
            text=item.template,
            dimstyle=_style_name(item.places, item.from_zero),
            dxfattribs={"layer": LAYER["dimension"]},
        )
        self._finish(made.dimension, item)

    def _ordinate(self, item: OrdinateDimension) -> None:
        made = self.space.add_ordinate_dim(
            feature_location=self._p(item.feature),
            offset=self._p((item.path[-1][0] - item.feature[0], item.path[-1][1] - item.feature[1])),
            dtype=1 if item.axis == "x" else 0,
            origin=self._p(item.zero),
            dimstyle=_style_name(item.places, False),
            dxfattribs={"layer": LAYER["dimension"]},
        )
        # The group holds the unsigned distance, as viewers measure it.
        self._finish(made.dimension, item)

    def _finish(self, entity: Any, item: LinearDimension | OrdinateDimension) -> None:
        """Give a DIMENSION its own ink, its measured size and where its text stands."""
        pieces = ink(item)
        label = next(p for p in pieces if isinstance(p, Label))
        entity.dxf.text_midpoint = self._p(_label_middle(label))
        entity.dxf.dimtype = entity.dxf.dimtype | _USER_PLACED_TEXT
        entity.dxf.actual_measurement = abs(item.size) / unit_size(self.sheet.units)
        block = self.document.blocks.new_anonymous_block(type_char="D")
        entity.dxf.geometry = block.name
        for piece in pieces:
            self._ink(block, piece)

    def _leader(self, item: Leader) -> None:
        attributes = {"layer": LAYER["dimension"], "has_arrowhead": int(item.arrow)}
        style = sorted(self.styles)[0] if self.styles else "Standard"
        self.space.add_leader([self._p(p) for p in item.path], dimstyle=style, dxfattribs=attributes)
        if not item.text:
            return
        label = leader_label(item)
        self.space.add_mtext(
            _mtext(label.text),
            dxfattribs={
                "layer": LAYER["text"],
                "style": _STYLE,
                "char_height": self._n(label.height),
                "insert": self._p((label.at[0], label.at[1] + label.height / 2)),
                "attachment_point": 4 if label.align == "left" else 6,
            },
        )

    def _ink(self, layout: Any, piece: Ink) -> None:
        match piece:
            case Stroke(role, curve):
                self._curve(layout, piece, {"layer": LAYER[role], "ltscale": pattern_scale(role, curve, curve_length(curve))})
            case Fill(role, points):
                layout.add_solid([self._p(p) for p in points], dxfattribs={"layer": LAYER[role]})
            case Label():
                self._text(layout, piece)

    def _curve(self, layout: Any, stroke: Stroke, attributes: dict[str, Any]) -> None:
        if attributes["ltscale"] == 1.0:
            del attributes["ltscale"]
        match stroke.curve:
            case Line(a, b):
                layout.add_line(self._p(a), self._p(b), dxfattribs=attributes)
            case Arc(centre, radius, _, sweep) if sweep >= 360.0:
                layout.add_circle(self._p(centre), self._n(radius), dxfattribs=attributes)
            case Arc(centre, radius, start, sweep):
                layout.add_arc(self._p(centre), self._n(radius), start, (start + sweep) % 360.0, dxfattribs=attributes)
            case EllipseArc(centre, major, ratio, start, sweep):
                first = math.radians(start)
                axis = (*self._p(major), 0.0)
                layout.add_ellipse(self._p(centre), axis, ratio, first, first + math.radians(sweep), dxfattribs=attributes)
            case Spline(points):
                spline = layout.add_spline(degree=3, dxfattribs=attributes)
                spline.control_points = [(*self._p(p), 0.0) for p in points]
                spline.knots = _cubic_knots((len(points) - 1) // 3)

    def _text(self, layout: Any, label: Label) -> None:
        from ezdxf.enums import TextEntityAlignment as Alignment

        text = layout.add_text(
            label.text.replace("%%", "%%%%"),
            height=self._n(label.height),
            rotation=label.turn,
            dxfattribs={"layer": LAYER[label.role], "style": _STYLE},
        )
        align = {"left": Alignment.LEFT, "middle": Alignment.CENTER, "right": Alignment.RIGHT}[label.align]
        text.set_placement(self._p(label.at), align=align)

    def _n(self, paper: float) -> float:
        return round(paper * self.factor, 9) + 0.0

    def _p(self, point: Vec2) -> Vec2:
        return (self._n(point[0]), self._n(point[1]))


def _style_name(places: int, from_zero: bool) -> str:
    return f"{_STYLE}-{places}{'-ZERO' if from_zero else ''}"


def _dimension_variables(places: int, factor: float) -> dict[str, Any]:
    """Return the dimension style: sizes in mm on paper, `factor` scales them all."""
    return {
        "dimscale": factor,
        "dimlfac": 1.0,
        "dimtxt": TEXT,
        "dimasz": ARROW,
        "dimexo": 1.0,
        "dimexe": 2.0,
        "dimgap": 1.0,
        "dimtad": 1,
        "dimtih": 0,
        "dimtoh": 0,
        "dimtofl": 1,
        "dimdec": places,
        "dimzin": 8,
        "dimlunit": 2,
        "dimdsep": ord("."),
        "dimtxsty": _STYLE,
        "dimclrd": 256,
        "dimclre": 256,
        "dimclrt": 256,
    }


def _line_weight(width: float) -> int:
    """Return the line weight, 1/100 mm, that DXF has nearest to a width in mm."""
    from ezdxf.lldxf.const import VALID_DXF_LINEWEIGHTS

    return int(min(VALID_DXF_LINEWEIGHTS, key=lambda weight: abs(weight - 100.0 * width)))


def _dxf_pattern(dashes: tuple[float, ...]) -> list[float]:
    """Return dash and gap lengths as DXF wants them: the whole period, then gaps below zero."""
    return [sum(dashes), *(size if i % 2 == 0 else -size for i, size in enumerate(dashes))]


def _cubic_knots(pieces: int) -> list[float]:
    inner = [float(k) for k in range(1, pieces) for _ in range(3)]
    return [0.0] * 4 + inner + [float(pieces)] * 4


def _label_middle(label: Label) -> Vec2:
    """Return the middle of a label's capitals."""
    width = text_width(label.text, label.height)
    along = {"left": width / 2, "middle": 0.0, "right": -width / 2}[label.align]
    turn = math.radians(label.turn)
    c, s = math.cos(turn), math.sin(turn)
    up = label.height / 2
    return (label.at[0] + along * c - up * s, label.at[1] + along * s + up * c)


def _mtext(text: str) -> str:
    """Return text with the characters that MTEXT would read as commands made plain."""
    return text.replace("\\", "\\\\").replace("{", "\\{").replace("}", "\\}")
