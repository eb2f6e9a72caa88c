"""A ray tree over millions of triangles, filled at once.

The ray library's Python face (`geom.rays.tree`) takes each corner by itself, a second for a million triangles; its own C
functions (Embree 4, in the same binary) take them whole, and rays sixteen at a time. Same library, same answers. Single
precision, about the triangles' own middle. Knows triangles only.

Source: Embree 4 API reference (rtcSetNewGeometryBuffer, rtcIntersect16, RTCRayHit16).
"""

import ctypes
from typing import Any, Final, TypeAlias
from weakref import finalize

import numpy as np

from geom.rays.analytic import Floats, Ints
from geom.rays.tree import RayTree, library

_TRIANGLE, _INDEX, _VERTEX, _UINT3, _FLOAT3, _ROBUST = 0, 0, 1, 0x5003, 0x9003, 1 << 2
"""RTC_GEOMETRY_TYPE_TRIANGLE, RTC_BUFFER_TYPE_*, RTC_FORMAT_*, RTC_SCENE_FLAG_ROBUST."""

_WIDTH: Final = 16
_ROWS: Final = 24
"""Rows of sixteen words in a packet: 12 of rays, 7 of hits, the rest for instances, which there are none of."""

_NEAR, _AHEAD, _FAR, _MASK, _HIT, _GEOMETRY = 3, 4, 8, 9, 17, 18
_NONE: Final = 0xFFFFFFFF
_ALIGNED: Final = 64

_HANDLES: Final = ("rtcNewDevice", "rtcNewScene", "rtcNewGeometry", "rtcSetNewGeometryBuffer")
_SIGNATURES: Final[dict[str, tuple[Any, ...]]] = {
    "rtcNewDevice": (ctypes.c_char_p,),
    "rtcNewScene": (ctypes.c_void_p,),
    "rtcSetSceneFlags": (ctypes.c_void_p, ctypes.c_int),
    "rtcNewGeometry": (ctypes.c_void_p, ctypes.c_int),
    "rtcSetNewGeometryBuffer": (
        ctypes.c_void_p, ctypes.c_int, ctypes.c_uint, ctypes.c_int, ctypes.c_size_t, ctypes.c_size_t,
    ),
    "rtcCommitGeometry": (ctypes.c_void_p,),
    "rtcAttachGeometry": (ctypes.c_void_p, ctypes.c_void_p),
    "rtcReleaseGeometry": (ctypes.c_void_p,),
    "rtcCommitScene": (ctypes.c_void_p,),
    "rtcReleaseScene": (ctypes.c_void_p,),
    "rtcReleaseDevice": (ctypes.c_void_p,),
    "rtcGetDeviceError": (ctypes.c_void_p,),
    "rtcIntersect16": (ctypes.c_void_p, ctypes.c_void_p, ctypes.c_void_p, ctypes.c_void_p),
}  # fmt: skip


class MeshTree:
    """Triangles made ready for rays."""

    __slots__ = ("__weakref__", "_c", "_device", "_scene")

    def __init__(self, c: Any, vertices: Floats, triangles: Ints) -> None:
        """Build the tree; vertices (n, 3) should lie about the origin.

        Raises:
            MemoryError: no room for it.
        """
        self._c = c
        self._device = c.rtcNewDevice(None)
        self._scene = c.rtcNewScene(self._device)
        finalize(self, _release, c, self._scene, self._device)
        c.rtcSetSceneFlags(self._scene, _ROBUST)
        shape = c.rtcNewGeometry(self._device, _TRIANGLE)
        try:
            self._fill(shape, _VERTEX, _FLOAT3, np.ascontiguousarray(vertices, dtype=np.float32))
            self._fill(shape, _INDEX, _UINT3, np.ascontiguousarray(triangles, dtype=np.uint32))
            c.rtcCommitGeometry(shape)
            c.rtcAttachGeometry(self._scene, shape)
        finally:
            c.rtcReleaseGeometry(shape)
        c.rtcCommitScene(self._scene)
        if c.rtcGetDeviceError(self._device):
            raise MemoryError("no room for the ray tree")

    def _fill(self, shape: int, kind: int, form: int, rows: Any) -> None:
        place = self._c.rtcSetNewGeometryBuffer(shape, kind, 0, form, rows.itemsize * 3, len(rows))
        if not place:
            raise MemoryError("no room for the ray tree")
        ctypes.memmove(place, rows.ctypes.data, rows.nbytes)

    def first(self, starts: Floats, directions: Floats) -> Ints:
        """Return the triangle each ray meets first, -1 for none."""
        count = len(starts)
        packets = -(-count // _WIDTH)
        rays = _aligned(packets * _ROWS * _WIDTH).reshape(packets, _ROWS, _WIDTH)
        words = rays.view(np.uint32)
        for axis in range(3):
            rays[:, axis] = _packed(starts[:, axis], packets)
            rays[:, _AHEAD + axis] = _packed(directions[:, axis], packets)
        rays[:, _FAR] = np.inf
        words[:, _MASK], words[:, _HIT], words[:, _GEOMETRY:] = _NONE, _NONE, _NONE
        every = _aligned(_WIDTH).view(np.int32)
        every[:] = -1
        at, step = rays.ctypes.data, _ROWS * _WIDTH * rays.itemsize
        for packet in range(packets):
            self._c.rtcIntersect16(every.ctypes.data, self._scene, at + packet * step, None)
        return words[:, _HIT].reshape(-1)[:count].astype(np.int32).astype(np.int64)


def _aligned(count: int) -> "np.typing.NDArray[np.float32]":
    """Return zeros that begin where packets must."""
    room = np.zeros(count + _ALIGNED // 4, dtype=np.float32)
    start = (-room.ctypes.data % _ALIGNED) // 4
    return room[start : start + count]


def _packed(values: Floats, packets: int) -> "np.typing.NDArray[np.float32]":
    whole = np.zeros(packets * _WIDTH, dtype=np.float32)
    whole[: len(values)] = values
    return whole.reshape(packets, _WIDTH)


def _release(c: Any, scene: int, device: int) -> None:
    c.rtcReleaseScene(scene)
    c.rtcReleaseDevice(device)


def _functions() -> Any:
    """Return the library's C functions; None where the system does not show them through the Python module."""
    try:
        c = ctypes.CDLL(library())
        for name, takes in _SIGNATURES.items():
            getattr(c, name).argtypes = takes
            getattr(c, name).restype = ctypes.c_void_p if name in _HANDLES else ctypes.c_int
    except (OSError, AttributeError):
        return None
    return c


AnyTree: TypeAlias = MeshTree | RayTree
"""A tree that knows `first`."""


def box_middle(vertices: Floats) -> Floats:
    """Return the middle of points' box (3,), about which trees are built."""
    return np.asarray((vertices.min(axis=0) + vertices.max(axis=0)) / 2.0)


def tree_of(vertices: Floats, triangles: Ints) -> AnyTree:
    """Return the tree of a plain mesh about its middle, as `geom.rays.finder` wants it."""
    return mesh_tree(vertices - box_middle(vertices), triangles)


def mesh_tree(vertices: Floats, triangles: Ints) -> AnyTree:
    """Return a tree, the quick one where the system allows it."""
    c = _functions()
    return RayTree(vertices, triangles) if c is None else MeshTree(c, vertices, triangles)
