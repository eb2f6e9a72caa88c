"""What points on machined faces meet of the walls over them, all at once, against the ray caster's distances and forms."""

import numpy as np
import pytest

from geom.place.sight import Sight
from geom.place.sites import forms_of, sites_of
from geom.rays.analytic import KINDS
from geom.received.faces import over_skin
from geom.rigid import STAY, from_turn
from tests.bundled import opened

PLACES = [STAY, from_turn((0.4, -0.3, 0.2), (0.2, -0.1, 0.3)), from_turn((-0.8, 0.5, -0.6), (-0.4, 0.3, -1.0))]
"""mm, and degrees about X, Y, Z."""


@pytest.mark.parametrize("number", range(len(PLACES)))
@pytest.mark.parametrize("name", ["footstep", "pump_cover"])
def test_what_is_met_lies_on_its_wall_along_the_points_normal(name: str, number: int) -> None:
    """On planes, cylinders and tori, to 1e-8 mm, with the wall's own normal there; as drawn it is what rays met. A normal that runs
    past a rounding meets none, and keeps the plane that touched there."""
    part, move = opened(name).part, PLACES[number]
    sites, f = sites_of(part), forms_of(part)
    sight = Sight(f, sites)
    met = sight.met(move)
    distance, ways = sight.in_order(met.distance), sight.in_order(met.ways)
    kinds = np.array(KINDS)[f.kind[np.maximum(sites.wall, 0)]]
    simple = np.flatnonzero((sites.wall >= 0) & np.isin(kinds, ("plane", "cylinder", "torus")) & np.isfinite(distance))
    points, normals = move.points(sites.samples.points[simple]), move.directions(sites.samples.normals[simple])
    high, outward = over_skin(part.casting, sites.wall[simple], points + distance[simple, None] * normals)
    met_there = np.abs(high) < 1e-8
    missed = simple[~met_there]

    assert set(kinds[simple]) == {"plane", "cylinder", "torus"}
    assert np.abs(outward - ways[simple])[met_there].max() < 1e-8
    assert move != STAY or (not missed.size and np.allclose(distance[simple], sites.reach[simple], rtol=0, atol=1e-9))
    assert "plane" not in kinds[missed]
    for site in missed.tolist():
        at = move.point(tuple(sites.samples.points[site])), move.direction(tuple(sites.samples.normals[site]))
        line = np.array(at[0]) + np.linspace(-0.5, 0.5, 201)[:, None] * np.array(at[1]) + distance[site] * np.array(at[1])
        heights = over_skin(part.casting, np.full(len(line), sites.wall[site]), line)[0]
        assert (heights > 0).all() or (heights < 0).all(), "the normal runs past the rounding: there is nothing to meet"
