"""3MF files as another program reads them: trimesh (with lxml and networkx), and lib3mf, the consortium's own reader."""

import io
import zipfile

import lib3mf
import lxml.etree
import numpy as np
import pytest
import trimesh

from export.prints.threemf import MODEL_PATH, Named, threemf_bytes
from geom.errors import GeometryError
from geom.kernel.mesh import Mesh
from geom.rays.body import block, rod

BLOCK = block((10.0, 20.0, 0.0), (70.0, 60.0, 30.0)) - block((20.0, 30.0, 10.0), (30.0, 40.0, 30.0))
PIN = rod((100.0, 0.0, 0.0), 4.0, 12.0, 0.02)


@pytest.fixture(scope="module")
def content() -> bytes:
    return threemf_bytes([Named("block & <slot>", BLOCK.mesh()), Named("pin", PIN.mesh())], "two prints")


def test_another_program_reads_both_bodies_by_name_in_millimetres(content):
    """Size and volume in closed form: 60 x 40 x 30 mm less a pocket of 10 x 10 x 20 mm."""
    scene = trimesh.load(io.BytesIO(content), file_type="3mf")

    assert scene.units in ("millimeter", "millimeters", "mm")
    assert sorted(scene.geometry) == ["block & <slot>", "pin"]
    found = scene.geometry["block & <slot>"]
    assert found.bounds.tolist() == [[10.0, 20.0, 0.0], [70.0, 60.0, 30.0]]
    assert found.volume == pytest.approx(60 * 40 * 30 - 10 * 10 * 20, abs=1e-6)
    assert found.is_watertight
    assert scene.geometry["pin"].volume == pytest.approx(np.pi * 4**2 * 12, rel=0.01)


def test_the_consortiums_reader_finds_no_fault(content):
    """lib3mf in strict mode: unit, names, triangles, no warnings."""
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromBuffer(content)

    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    objects = model.GetMeshObjects()
    seen = {}
    while objects.MoveNext():
        mesh = objects.GetCurrentMeshObject()
        seen[mesh.GetName()] = (mesh.GetTriangleCount(), mesh.IsManifoldAndOriented())
    assert seen == {"block & <slot>": (len(BLOCK.mesh().triangles), True), "pin": (len(PIN.mesh().triangles), True)}
    assert reader.GetWarningCount() == 0


def test_the_same_bodies_give_the_same_bytes_with_no_clock(content):
    """Every entry is dated at the zip format's own beginning."""
    again = threemf_bytes([Named("block & <slot>", BLOCK.mesh()), Named("pin", PIN.mesh())], "two prints")

    assert again == content
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert {entry.date_time for entry in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert archive.testzip() is None
        assert lxml.etree.fromstring(archive.read(MODEL_PATH)).get("unit") == "millimeter"


def test_an_open_body_is_refused():
    """A printer cannot tell inside from outside."""
    whole = BLOCK.mesh()
    holed = Mesh(whole.vertices, whole.triangles[1:], whole.face[1:])

    with pytest.raises(GeometryError, match="do not close up"):
        threemf_bytes([Named("holed", holed)], "a fault")
