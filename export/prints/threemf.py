"""3MF: closed bodies for a printer, with their unit and their names, several in one file.

Written by the 3MF core specification 1.x (an open standard; from memory), mesh
objects only: no colours, no supports, no settings of any printer. The same
bodies give the same bytes: the zip archive has no clock and one fixed order.
Lengths mm; the bodies lie where the caller put them. Checked by reading the
files back with another library.
"""

import io
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final
from xml.sax.saxutils import quoteattr

import numpy as np

from export.prints.mesh import check_closed, in_32_bits, ordered
from geom.kernel.mesh import Mesh
from geom.space import Vec3

MODEL_PATH: Final = "3D/3dmodel.model"

_CORE: Final = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
_START: Final = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
_PACKAGE: Final = "http://schemas.openxmlformats.org/package/2006"
_XML: Final = '<?xml version="1.0" encoding="UTF-8"?>\n'

_TYPES: Final = (
    f'{_XML}<Types xmlns="{_PACKAGE}/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>'
    "</Types>\n"
)
_RELATIONS: Final = (
    f'{_XML}<Relationships xmlns="{_PACKAGE}/relationships">'
    f'<Relationship Target="/{MODEL_PATH}" Id="model" Type="{_START}"/>'
    "</Relationships>\n"
)
_FIRST_DAY: Final = (1980, 1, 1, 0, 0, 0)
"""The zip format's own beginning of time."""

_UNIX: Final = 3
_PLAIN_FILE: Final = 0o100644 << 16


@dataclass(frozen=True, slots=True, eq=False)
class Named:
    """One body of a 3MF file: what its reader lists it as, its closed mesh, and where its zero is put, mm."""

    name: str
    mesh: Mesh = field(repr=False)
    at: Vec3 = (0.0, 0.0, 0.0)


def threemf_bytes(bodies: Sequence[Named], title: str) -> bytes:
    """Return a 3MF file of closed bodies, unit millimetre, in the order given.

    Args:
        bodies: at least one; they must not overlap where a printer is to print them together.
        title: what the file is of.

    Raises:
        GeometryError: a body is not closed once its vertices are 32-bit numbers.
    """
    files = {"[Content_Types].xml": _TYPES, "_rels/.rels": _RELATIONS, MODEL_PATH: _model(bodies, title)}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, text in files.items():
            entry = zipfile.ZipInfo(name, _FIRST_DAY)
            entry.compress_type, entry.create_system, entry.external_attr = zipfile.ZIP_DEFLATED, _UNIX, _PLAIN_FILE
            archive.writestr(entry, text.encode(), compresslevel=6)
    return out.getvalue()


def _model(bodies: Sequence[Named], title: str) -> str:
    numbered = list(enumerate(bodies, 1))
    return "".join(
        [
            f'{_XML}<model unit="millimeter" xml:lang="en" xmlns="{_CORE}">\n',
            f' <metadata name="Title">{_text(title)}</metadata>\n <metadata name="Application">evenstock</metadata>\n',
            " <resources>\n",
            *(_object(number, body) for number, body in numbered),
            " </resources>\n <build>\n",
            *(f'  <item objectid="{number}"{_moved(body.at)}/>\n' for number, body in numbered),
            " </build>\n</model>\n",
        ]
    )


def _object(number: int, body: Named) -> str:
    """Return one mesh object; its numbers are those an STL would hold, nine figures bring each back exactly."""
    mesh = ordered(in_32_bits(body.mesh))
    check_closed(mesh, body.name, lambda _: "the print")
    x, y, z = (np.char.mod("%.9g", column).tolist() for column in mesh.vertices.T)
    corners = "".join(f'<vertex x="{a}" y="{b}" z="{c}"/>' for a, b, c in zip(x, y, z, strict=True))
    facets = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in mesh.triangles.tolist())
    return (
        f'  <object id="{number}" type="model" name={quoteattr(_printable(body.name))}>\n   <mesh>\n    '
        f"<vertices>{corners}</vertices>\n    <triangles>{facets}</triangles>\n   </mesh>\n  </object>\n"
    )


def _moved(at: Vec3) -> str:
    """Return the attribute that moves a body: exact, where moving its 32-bit corners would round them again."""
    return "" if not any(at) else f' transform="1 0 0 0 1 0 0 0 1 {" ".join(f"{value:.6g}" for value in at)}"'


def _text(words: str) -> str:
    return _printable(words).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _printable(words: str) -> str:
    """Return words without the control characters that XML cannot hold."""
    return "".join(c if c.isprintable() else " " for c in words)
