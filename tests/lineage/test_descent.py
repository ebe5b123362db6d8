"""Where did it go: everything that descends from a ramet, a genet or a donor colony."""

from __future__ import annotations

from pytest_django.fixtures import DjangoAssertNumQueries

from nursery.donors.models import Genet
from nursery.lineage.models import Ramet
from nursery.lineage.queries import Descent, PlaceCount, of_donor, of_genet, of_ramet, summary
from nursery.lineage.words import Place
from tests import factories as f


def codes(ramets: list[Ramet]) -> set[str]:
    return {ramet.code for ramet in ramets}


def test_the_descendants_of_a_ramet_are_all_cut_from_it_and_from_those(
    programme: f.Programme,
) -> None:
    mother = programme.mother()
    children = f.cut(programme.lead, [mother], 2)
    grandchildren = f.cut(programme.lead, [children[0]], 3, when="2021-04-01")
    assert codes(list(of_ramet(mother))) == codes(children + grandchildren)
    assert codes(list(of_ramet(children[0]))) == codes(grandchildren)
    assert codes(list(of_ramet(children[1]))) == set()


def test_a_pooled_child_descends_from_each_of_its_mothers(programme: f.Programme) -> None:
    first, second = programme.mothers(2)
    child = f.cut(programme.lead, [first, second])[0]
    for mother in (first, second):
        assert codes(list(of_ramet(mother))) == {child.code}


def test_what_comes_from_a_colony_is_found_through_every_pooling(
    programme: f.Programme,
) -> None:
    other = f.colony(programme.lead, programme.taxon, programme.reef)
    first = programme.mother()
    second = f.mothers(programme.lead, other, programme.tray)[0]
    pooled = f.cut(programme.lead, [first, second])[0]
    late = f.cut(programme.lead, [pooled], 2, when="2021-04-01")
    assert codes(list(of_donor(programme.colony))) == codes([first, pooled, *late])
    assert codes(list(of_donor(other))) == codes([second, pooled, *late])


def test_legacy_stock_descends_from_the_colonies_it_names(programme: f.Programme) -> None:
    row = {"taxon": programme.taxon.code, "donors": [programme.colony.code]}
    legacy = f.stock(programme.lead, programme.nursery, [row])[0]
    assert codes(list(of_donor(programme.colony))) == {legacy.code}


def test_a_genet_has_all_its_ramets_and_no_pooled_ones(programme: f.Programme) -> None:
    other = f.colony(programme.lead, programme.taxon, programme.reef)
    first = programme.mother()
    second = f.mothers(programme.lead, other, programme.tray)[0]
    child = f.cut(programme.lead, [first])[0]
    f.cut(programme.lead, [first, second])
    assert codes(list(of_genet(programme.colony.genet))) == codes([first, child])


def test_a_merged_genet_has_the_ramets_of_both(programme: f.Programme) -> None:
    other = f.colony(programme.lead, programme.taxon, programme.reef)
    first = programme.mother()
    second = f.mothers(programme.lead, other, programme.tray)[0]
    Genet.objects.filter(pk=other.genet_id).update(canonical=programme.colony.genet)
    for genet in Genet.objects.filter(pk__in=[programme.colony.genet_id, other.genet_id]):
        assert codes(list(of_genet(genet))) == codes([first, second])


def test_descendants_are_counted_by_life_and_place(programme: f.Programme) -> None:
    mother = programme.mother()
    children = f.cut(programme.lead, [mother], 6, into=programme.plate)
    f.cut(programme.lead, [], used_up=[children[0]], when="2021-04-01")
    f.planting(programme.lead, programme.plot, children[1:4])
    f.visit(programme.lead, programme.site, {children[1]: "dead", children[2]: "missing"})
    found = summary(of_ramet(mother))
    assert (found.total, found.living) == (7, 4)
    assert found.by_life == {"living": 4, "dead": 1, "lost": 1, "used_up": 1}
    assert set(found.by_place) == {
        PlaceCount(Place.NOWHERE, None, None, None, None, living=1, ended=1),
        PlaceCount(Place.STRUCTURE, programme.nursery.code, programme.plate.code, None, None, 2, 0),
        PlaceCount(Place.PLOT, None, None, programme.site.code, programme.plot.code, 1, 2),
    }


def test_nothing_counts_as_nothing(programme: f.Programme) -> None:
    assert summary(of_ramet(programme.mother())) == Descent(0, 0, {}, ())


def test_counting_descendants_takes_two_queries_however_many(
    programme: f.Programme, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    mother = programme.mother()
    for depth in (1, 25):
        ramet = mother
        for _ in range(depth):
            ramet = f.cut(programme.lead, [ramet], 2, into=programme.tray)[0]
        with django_assert_num_queries(2):
            summary(of_ramet(mother))
        with django_assert_num_queries(2):
            summary(of_donor(programme.colony))
        with django_assert_num_queries(2):
            summary(of_genet(programme.colony.genet))
