"""A neutral drawing as SVG at true sheet size.

Text stays text, in the shipped font's family, each line with its own width so
that a viewer without the font keeps the layout. Black only: a drawing is
copied. Knows nothing of what is drawn.
"""

import math
from xml.sax.saxutils import escape

from export.files.lettering import CAPITAL, text_width
from export.files.sheet2d import LINE_WIDTH, PATTERN, Fill, Label, Role, Sheet, Stroke, ink, pattern_scale
from export.fonts import SANS
from geom.flat.curve2d import Arc, Curve, EllipseArc, Line, Spline, Vec2, at, curve_length, is_closed


def svg_bytes(sheet: Sheet) -> bytes:
    """Return the drawing as a UTF-8 SVG file at true sheet size."""
    across, tall = sheet.extent
    pieces = [piece for item in sheet.items for piece in ink(item)]
    body = [_strokes(role, [p for p in pieces if isinstance(p, Stroke) and p.role == role], tall) for role in LINE_WIDTH]
    fills = [_fill(p, tall) for p in pieces if isinstance(p, Fill)]
    labels = [_label(p, tall) for p in pieces if isinstance(p, Label)]
    w, h = _n(across), _n(tall)
    size = f'width="{_n(sheet.width)}mm" height="{_n(sheet.height)}mm"'
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" {size} viewBox="0 0 {w} {h}">',
            f"<title>{escape(sheet.title)}</title>",
            f'<rect width="{w}" height="{h}" fill="#fff"/>',
            '<g fill="none" stroke="#000" stroke-linecap="round" stroke-linejoin="round">',
            *(group for group in body if group),
            "</g>",
            *fills,
            f'<g font-family="\'{SANS}\', sans-serif" xml:space="preserve">',
            *labels,
            "</g>",
            "</svg>",
            "",
        ]
    ).encode()


def _strokes(role: Role, strokes: list[Stroke], height: float) -> str:
    if not strokes:
        return ""
    lines = [f'<g id="{role}" stroke-width="{_n(LINE_WIDTH[role])}"{_dashes(role, 1.0)}>']
    plain = [s.curve for s in strokes if not (role in PATTERN and is_closed(s.curve))]
    if plain:
        lines.append(f'<path d="{"".join(_path(c, height) for c in plain)}"/>')
    for curve in (s.curve for s in strokes if role in PATTERN and is_closed(s.curve)):
        fit = pattern_scale(role, curve, curve_length(curve))
        lines.append(f'<path d="{_path(curve, height)}"{_dashes(role, fit)}/>')
    return "\n".join([*lines, "</g>"])


def _dashes(role: Role, factor: float) -> str:
    if role not in PATTERN:
        return ""
    return f' stroke-dasharray="{" ".join(_n(p * factor) for p in PATTERN[role])}" stroke-linecap="butt"'


def _path(curve: Curve, height: float) -> str:
    match curve:
        case Line(a, b):
            return f"M{_p(a, height)}L{_p(b, height)}"
        case Arc(_, radius, _, _):
            return _arc_path(curve, radius, radius, 0.0, height)
        case EllipseArc(_, major, ratio, _, _):
            size = math.hypot(*major)
            return _arc_path(curve, size, size * ratio, -math.degrees(math.atan2(major[1], major[0])), height)
        case Spline(points):
            rest = [" ".join(_p(p, height) for p in points[i : i + 3]) for i in range(1, len(points), 3)]
            return f"M{_p(points[0], height)}" + "".join(f"C{r}" for r in rest)


def _arc_path(curve: Arc | EllipseArc, rx: float, ry: float, turn: float, height: float) -> str:
    """Return a counter-clockwise arc in two halves: a whole turn has no two ends to tell apart."""
    radii = f"{_n(rx)} {_n(ry)} {_n(turn)}"
    half = [f"A{radii} {int(curve.sweep / 2 > 180.0)} 0 {_p(at(curve, s), height)}" for s in (0.5, 1.0)]
    return f"M{_p(at(curve, 0.0), height)}{half[0]}{half[1]}"


def _fill(fill: Fill, height: float) -> str:
    return f'<path d="M{"L".join(_p(p, height) for p in fill.points)}Z"/>'


def _label(label: Label, height: float) -> str:
    x, y = label.at[0], height - label.at[1]
    place = f'x="{_n(x)}" y="{_n(y)}"'
    if label.turn:
        place = f'transform="translate({_n(x)} {_n(y)}) rotate({_n(-label.turn)})"'
    anchor = {"left": "", "middle": ' text-anchor="middle"', "right": ' text-anchor="end"'}[label.align]
    width = _n(text_width(label.text, label.height))
    size = _n(label.height / CAPITAL)
    return (
        f'<text {place} font-size="{size}"{anchor} textLength="{width}" lengthAdjust="spacingAndGlyphs">{escape(label.text)}</text>'
    )


def _p(point: Vec2, height: float) -> str:
    return f"{_n(point[0])} {_n(height - point[1])}"


def _n(value: float) -> str:
    """Return a number to a micrometre on paper, without trailing zeros or "-0"."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
