"""SVG sheets as one PDF at true size, with selectable text and no clock, or as pictures; typst templates as a PDF.

Only the shipped fonts are used. Knows nothing of what is on the sheets.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from export.fonts import FOLDER
from geom.errors import OutputError


@dataclass(frozen=True, slots=True)
class Page:
    """One sheet: its size, mm, and its SVG."""

    width: float
    height: float
    svg: bytes


def pdf_bytes(title: str, pages: Sequence[Page]) -> bytes:
    """Return a PDF of the pages, in order.

    Raises:
        OutputError: the typesetter refused or warned; the message says why.
    """
    return _set(title, pages, format="pdf", pdf_tags=False)


def png_bytes(title: str, page: Page, per_inch: float) -> bytes:
    """Return one page as a PNG picture.

    Args:
        per_inch: pixels to an inch of paper.

    Raises:
        OutputError: as `pdf_bytes`.
    """
    return _set(title, [page], format="png", ppi=per_inch)


def set_pdf(title: str, template: bytes, files: Mapping[str, bytes]) -> bytes:
    """Return a PDF of a typst template.

    Args:
        template: the source; it finds the title in `sys.inputs`.
        files: what it reads, by name.

    Raises:
        OutputError: as `pdf_bytes`.
    """
    return _compiled(title, template, files, format="pdf", pdf_tags=False)


def _set(title: str, pages: Sequence[Page], **options: Any) -> bytes:
    names = [f"sheet{i}.svg" for i in range(1, len(pages) + 1)]
    files = {name: page.svg for name, page in zip(names, pages, strict=True)}
    source = "\n".join([_preamble(), *(_page(page, name) for page, name in zip(pages, names, strict=True))])
    return _compiled(title, source.encode(), files, **options)


def _compiled(title: str, source: bytes, files: Mapping[str, bytes], **options: Any) -> bytes:
    import typst

    everything: Any = {"main.typ": source, **files}
    try:
        made, warnings = typst.compile_with_warnings(
            everything, font_paths=[str(FOLDER)], ignore_system_fonts=True, sys_inputs={"title": title}, **options
        )
    except typst.TypstError as error:
        raise OutputError(f"the sheets of {title!r} could not be set: {error}; report this with the job") from error
    if warnings:
        raise OutputError(f"the sheets of {title!r} were set with a warning: {warnings[0]}; report this with the job")
    return bytes(made)


def _preamble() -> str:
    return "#set document(date: none, title: sys.inputs.title)\n#set page(margin: 0mm)"


def _page(page: Page, name: str) -> str:
    size = f"width: {page.width:g}mm, height: {page.height:g}mm"
    return f'#page({size})[#image("{name}", {size})]'
