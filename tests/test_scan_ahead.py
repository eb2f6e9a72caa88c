"""A scan read while the program loads is the scan that would have been read later."""

from pathlib import Path

import numpy as np
import pytest
import trimesh

from geom.errors import ReadingError
from geom.readings.records import ScanFile
from geom.scan.ahead import begin, read_ahead
from geom.scan.file import read_scan
from tests.scan_files import write_stl


def _asked(folder: Path, name: str = "casting.stl") -> ScanFile:
    return ScanFile(folder / name, "inch", 0.03, (), "readings/scan.toml")


def _ball(folder: Path) -> Path:
    ball = trimesh.creation.icosphere(3, 2.0)
    (folder / "scan.toml").write_text('file = "casting.stl"\nunit = "inch"\n')
    return write_stl(folder / "casting.stl", ball.vertices, ball.faces)


def test_a_scan_read_ahead_is_the_same_scan(tmp_path):
    """Points, triangles, unit and the stated uncertainty, to the last bit; only its ray tree is there already."""
    _ball(tmp_path)
    begin(tmp_path)
    ahead, plain = read_ahead(_asked(tmp_path)).scan(), read_scan(_asked(tmp_path))

    assert np.array_equal(ahead.vertices, plain.vertices)
    assert np.array_equal(ahead.triangles, plain.triangles)
    assert (ahead.label, ahead.unit, ahead.sigma, ahead.notes) == (plain.label, plain.unit, 0.03, plain.notes)
    assert ahead.tree is not None
    assert plain.tree is None


def test_a_scan_is_read_afresh_the_next_time(tmp_path):
    """Law: what was read ahead is handed out once; a file changed since is seen."""
    _ball(tmp_path)
    begin(tmp_path)
    read_ahead(_asked(tmp_path)).scan()
    ball = trimesh.creation.icosphere(2, 3.0)
    write_stl(tmp_path / "casting.stl", ball.vertices, ball.faces)

    assert len(read_ahead(_asked(tmp_path)).scan().triangles) == len(ball.faces) == 320


def test_a_scan_begun_twice_is_read_as_it_stands_the_second_time(tmp_path):
    """Law: what was begun and never asked for is forgotten; the file as it is now counts."""
    _ball(tmp_path)
    begin(tmp_path)
    ball = trimesh.creation.icosphere(2, 3.0)
    write_stl(tmp_path / "casting.stl", ball.vertices, ball.faces)
    begin(tmp_path)

    assert len(read_ahead(_asked(tmp_path)).scan().triangles) == len(ball.faces) == 320


def test_what_is_wrong_with_a_scan_is_said_when_it_is_asked_for(tmp_path):
    """Cut off in the middle: the same words as without reading ahead."""
    path = _ball(tmp_path)
    path.write_bytes(path.read_bytes()[:-500])
    begin(tmp_path)
    with pytest.raises(ReadingError) as ahead:
        read_ahead(_asked(tmp_path)).scan()
    with pytest.raises(ReadingError) as plain:
        read_scan(_asked(tmp_path))

    assert str(ahead.value) == str(plain.value)
    assert "is cut off" in str(plain.value)


@pytest.mark.parametrize(
    "text", ["", "file = 3", 'file = "../casting.stl"\nunit = "mm"', 'file = "casting.stl"', "= nonsense", "\udcff"]
)
def test_a_scan_file_that_is_not_plain_is_left_to_the_proper_reading(tmp_path, text):
    """Nothing is begun and nothing is raised."""
    before = _ball(tmp_path)
    (tmp_path / "scan.toml").write_bytes(text.encode("utf-8", "surrogateescape"))
    begin(tmp_path)

    assert len(read_ahead(ScanFile(before, "mm", 0.1, (), "scan.toml")).scan().triangles) == 1280
