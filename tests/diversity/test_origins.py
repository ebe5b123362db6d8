"""Where a site's ramets come from: by reef, by colony, how far, how much deeper."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal

import pytest
from pytest_django.fixtures import DjangoAssertNumQueries

from nursery.core.actor import Actor, Role
from nursery.core.errors import NotAllowed
from nursery.core.geodesy import Point, distance_m
from nursery.diversity.origins import MIXED, UNKNOWN, Origins, origins
from nursery.donors.models import DonorColony
from nursery.lineage.models import Ramet
from nursery.outplanting.counts import Stand
from nursery.places.models import Reef, Site
from tests import factories as f

pytestmark = pytest.mark.django_db

# Flinders Peak and Buninyong, 54972.271 m apart (published; geographiclib on WGS 84).
FLINDERS = ("-37.951033417", "144.424867889")
BUNINYONG = ("-37.652821139", "143.926495528")


@dataclass(frozen=True)
class Scene:
    """A site at one end of a known line, a colony at the other, another on a second reef."""

    programme: f.Programme
    site: Site
    far: DonorColony
    other_reef: Reef
    other: DonorColony

    def of(self, colony: DonorColony, n: int) -> list[Ramet]:
        lead = self.programme.lead
        return f.cut(lead, f.mothers(lead, colony, self.programme.tray)[:1], n)

    def ask(self, actor: Actor | None = None, state: Stand = Stand.ALIVE) -> Origins:
        return origins(actor or self.programme.lead, self.site, state)


@pytest.fixture
def scene() -> Scene:
    begun = f.programme()
    lead = begun.lead
    site = f.site(lead, latitude=FLINDERS[0], longitude=FLINDERS[1])
    plot = f.plot(lead, site, depth_m="4.5")
    far = f.colony(
        lead, begun.taxon, begun.reef, latitude=BUNINYONG[0], longitude=BUNINYONG[1], depth_m="7"
    )
    other_reef = f.reef(lead)
    other = f.colony(lead, begun.taxon, other_reef)
    return Scene(replace(begun, site=site, plot=plot), site, far, other_reef, other)


def test_the_way_from_a_colony_to_the_site_is_geodesic(scene: Scene) -> None:
    f.planting(scene.programme.lead, scene.programme.plot, scene.of(scene.far, 3))
    (row,) = scene.ask().colonies
    assert row.distance_m == pytest.approx(54972.271, abs=0.1)
    assert (row.colony, row.ramets, row.shared) == (scene.far.code, 3, 0)
    assert row.deeper_m == Decimal("2.5")


def test_who_may_not_see_where_a_colony_stands_has_the_way_from_its_grid(scene: Scene) -> None:
    f.planting(scene.programme.lead, scene.programme.plot, scene.of(scene.far, 1))
    viewer = f.actor(Role.VIEWER)
    (row,) = scene.ask(viewer).colonies
    colony = DonorColony.objects.get(pk=scene.far.pk)
    assert colony.rounded_latitude is not None
    assert colony.rounded_longitude is not None
    grid = Point(float(colony.rounded_latitude), float(colony.rounded_longitude))
    site = Point(float(FLINDERS[0]), float(FLINDERS[1]))
    assert row.distance_m == pytest.approx(distance_m(site, grid), abs=0.5)
    assert row.uncertainty_m is not None
    assert row.uncertainty_m > 1000


def test_reefs_are_told_with_what_is_mixed_and_what_nobody_knows(scene: Scene) -> None:
    lead, here = scene.programme.lead, scene.programme
    mothers = [f.mothers(lead, c, here.tray)[0] for c in (scene.far, scene.other)]
    pooled = f.cut(lead, mothers, 2)
    stray = f.stock(lead, here.nursery, [{"taxon": here.taxon.code}])
    planted = [*scene.of(scene.far, 3), *scene.of(scene.other, 4), *pooled, *stray]
    f.planting(lead, here.plot, planted)
    found = scene.ask()
    assert [(row.reef, row.ramets, row.colonies) for row in found.reefs] == [
        (scene.other_reef.name, 4, 1),
        (here.reef.name, 3, 1),
        (MIXED, 2, 2),
        (UNKNOWN, 1, 0),
    ]
    assert (found.unknown, found.donor_reefs) == (1, 2)
    told = {row.colony: (row.ramets, row.shared) for row in found.colonies}
    assert told == {scene.far.code: (5, 2), scene.other.code: (6, 2)}


def test_what_died_is_of_the_planted_alone(scene: Scene) -> None:
    ramets = scene.of(scene.far, 3)
    f.planting(scene.programme.lead, scene.programme.plot, ramets)
    f.visit(scene.programme.lead, scene.site, {ramets[0]: "dead"})
    assert [row.ramets for row in scene.ask().reefs] == [2]
    assert [row.ramets for row in scene.ask(state=Stand.PLANTED).reefs] == [3]


def test_a_colony_without_a_position_or_depth_has_no_distance(scene: Scene) -> None:
    f.planting(scene.programme.lead, scene.programme.plot, scene.of(scene.other, 1))
    (row,) = scene.ask().colonies
    assert (row.distance_m, row.uncertainty_m, row.deeper_m) == (None, None, None)
    (reef,) = scene.ask().reefs
    assert (reef.nearest_m, reef.farthest_m) == (None, None)


def test_asking_costs_the_same_for_few_and_for_many(
    scene: Scene, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    f.planting(scene.programme.lead, scene.programme.plot, scene.of(scene.far, 1))
    with django_assert_num_queries(6):
        scene.ask()
    f.planting(scene.programme.lead, scene.programme.plot, scene.of(scene.other, 9))
    with django_assert_num_queries(6):
        scene.ask()


def test_nobody_without_a_role_is_told(scene: Scene) -> None:
    with pytest.raises(NotAllowed):
        scene.ask(f.actor())
