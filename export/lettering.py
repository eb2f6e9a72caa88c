"""How wide a text is in the shipped font, and which characters it has.

Text height is the height of a capital letter, mm on paper, as drawing
standards count it. Knows nothing of where text stands.
"""

import unicodedata
from functools import cache
from typing import Final

from export.fonts import FOLDER, SANS_FILE
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
