"""How wide a text is in the shipped font, and which characters it has.

Text height is the height of a capital letter, mm on paper, as drawing
standards count it. Knows nothing of where text stands.
"""

import unicodedata
from collections.abc import Iterable, Iterator
from functools import cache
from typing import Any, Final

from export.fonts import BOLD_FILE, FOLDER, SANS_FILE
from geom.errors import JobError

CAPITAL: Final = 1493 / 2048
"""Height of a capital over the font size: DejaVu Sans's own H."""

DESCENT: Final = 426 / 1493
"""How far a g reaches below the base line, over the capital's height."""


@cache
def _advances() -> dict[int, float]:
    """Return each character's advance over the capital's height."""
    from fontTools.ttLib import TTFont  # type: ignore[import-untyped]

    with TTFont(FOLDER / SANS_FILE) as font:
        widths = font["hmtx"].metrics
        em = font["head"].unitsPerEm
        return {code: widths[name][0] / em / CAPITAL for code, name in font.getBestCmap().items()}


def text_width(text: str, height: float) -> float:
    """Return the width of one line of text, mm, at a capital height in mm."""
    advances = _advances()
    return height * sum(advances.get(ord(c), 0.9) for c in text)


def has_character(character: str) -> bool:
    """Tell whether the shipped font has a character."""
    return ord(character) in _advances()


def text_outlines(text: str, height: float) -> list[list[tuple[float, float]]]:
    """Return the closed outlines of one line of bold text, mm, base line on Y 0, from X 0; outlines inside others are holes."""
    from fontTools.pens.recordingPen import DecomposingRecordingPen  # type: ignore[import-untyped]
    from fontTools.ttLib import TTFont

    outlines: list[list[tuple[float, float]]] = []
    with TTFont(FOLDER / BOLD_FILE) as font:
        glyphs, names = font.getGlyphSet(), font.getBestCmap()
        size = height / CAPITAL / font["head"].unitsPerEm
        at = 0.0
        for character in text:
            glyph = glyphs[names[ord(character)]]
            pen = DecomposingRecordingPen(glyphs)
            glyph.draw(pen)
            outlines += [[(size * (at + x), size * y) for x, y in ring] for ring in _rings(pen.value)]
            at += glyph.width
    return outlines


def _rings(strokes: Iterable[tuple[str, tuple[Any, ...]]]) -> Iterator[list[tuple[float, float]]]:
    """Yield the rings of a glyph's strokes, its quadratic curves in straight pieces, font units."""
    ring: list[tuple[float, float]] = []
    for stroke, points in strokes:
        if stroke in ("moveTo", "lineTo"):
            ring.append(points[0])
        elif stroke == "qCurveTo":
            *handles, last = points
            for i, (hx, hy) in enumerate(handles):
                end = last if i + 1 == len(handles) else ((hx + handles[i + 1][0]) / 2, (hy + handles[i + 1][1]) / 2)
                x, y = ring[-1]
                for t in (0.2, 0.4, 0.6, 0.8, 1.0):
                    u = 1.0 - t
                    ring.append((u * u * x + 2 * u * t * hx + t * t * end[0], u * u * y + 2 * u * t * hy + t * t * end[1]))
        elif stroke == "closePath":
            yield ring
            ring = []


def check_characters(text: str, where: str) -> str:
    """Return the text on one line, its spaces tidied.

    Raises:
        JobError: it holds a character the shipped font cannot draw.
    """
    tidy = " ".join(unicodedata.normalize("NFC", text).split())
    for character in tidy:
        if ord(character) not in _advances():
            raise JobError(
                f"{where}: the character {character!r} in {tidy!r} is not in the shipped font, which has Latin, Greek and "
                "Cyrillic letters; write the text with those"
            )
    return tidy


def wrapped(text: str, height: float, width: float) -> list[str]:
    """Return the text broken at spaces into lines no wider than `width` mm; a longer word is broken where it must."""
    lines: list[str] = []
    for word in text.split():
        if lines and text_width(f"{lines[-1]} {word}", height) <= width:
            lines[-1] += f" {word}"
            continue
        while text_width(word, height) > width and len(word) > 1:
            fits = next(n for n in range(len(word) - 1, 0, -1) if n == 1 or text_width(word[:n], height) <= width)
            lines.append(word[:fits])
            word = word[fits:]
        lines.append(word)
    return lines
