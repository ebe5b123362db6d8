"""Faults in registers, collections, cuttings, and in what descends from them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from django.db.models import F, QuerySet

from nursery.donors.models import Collection, DonorColony, DonorSet, DonorSetMember, Genet, Taxon
from nursery.lineage.models import Fragmentation, Ramet, Source
from tests import factories as f
from tests.verify.season import Season

Plant = Callable[[Season], object]


def other_taxon(s: Season) -> Taxon:
    return f.taxon(s.programme.lead)


def colony_of_another_taxon(s: Season) -> None:
    DonorColony.objects.filter(pk=s.colony.pk).update(taxon=other_taxon(s))


def another_rounded_position(s: Season) -> None:
    DonorColony.objects.filter(pk=s.colony.pk).update(rounded_latitude="7.36")


def another_uncertainty(s: Season) -> None:
    Collection.objects.filter(pk=s.loose.pk).update(uncertainty_m=1)


def rounded_position_of_nothing(s: Season) -> None:
    DonorColony.objects.filter(pk=s.other.pk).update(
        rounded_latitude="7.3", rounded_longitude="134.5"
    )


def no_rounded_position(s: Season) -> None:
    DonorColony.objects.filter(pk=s.colony.pk).update(
        rounded_latitude=None, rounded_longitude=None, uncertainty_m=None
    )


def set_of(s: Season) -> QuerySet[DonorSet]:
    return DonorSet.objects.filter(pk=s.pooled[0].donor_set_id)


def another_key(s: Season) -> None:
    set_of(s).update(key="1,2,3,4")


def member_gone(s: Season) -> None:
    DonorSetMember.objects.filter(donor_set__in=set_of(s), colony=s.other).delete()


def merge_forgotten(s: Season) -> None:
    Genet.objects.filter(pk=s.merged_genet.pk).update(canonical=None)


def merge_invented(s: Season) -> None:
    Genet.objects.filter(pk=s.programme.colony.genet_id).update(canonical=s.kept_genet)


def merged_with_another_taxon(s: Season) -> None:
    Genet.objects.filter(pk=s.kept_genet.pk).update(taxon=other_taxon(s))


# Births


def cutting(s: Season) -> QuerySet[Fragmentation]:
    return Fragmentation.objects.filter(pk=s.cutting.pk)


def collection(s: Season) -> QuerySet[Collection]:
    return Collection.objects.filter(pk=s.collection.pk)


def more_children(s: Season) -> None:
    cutting(s).update(children_count=F("children_count") + 1)


def more_pieces(s: Season) -> None:
    collection(s).update(pieces=F("pieces") + 1)


def number_twice(s: Season) -> None:
    Ramet.objects.filter(pk=s.children[0].pk).update(number=2)


def number_gone(s: Season) -> None:
    Ramet.objects.filter(pk=s.children[0].pk).update(number=None)


def numbers_from_2(s: Season) -> None:
    Ramet.objects.filter(collection=s.loose).update(number=F("number") + 1)


def used_up_by_its_row(s: Season) -> None:
    Source.objects.filter(fragmentation=s.cutting).update(used_up=True)


def kept_by_its_row(s: Season) -> None:
    Source.objects.filter(ramet=s.spent).update(used_up=False)


def another_mother(s: Season) -> None:
    Source.objects.filter(fragmentation=s.cutting).update(ramet=s.spent)


# Descent


def collection_of_another_taxon(s: Season) -> None:
    collection(s).update(taxon=other_taxon(s))


def collection_of_another_genet(s: Season) -> None:
    collection(s).update(genet=s.kept_genet)


def collection_from_another_reef(s: Season) -> None:
    collection(s).update(reef=f.reef(s.programme.lead))


def sources_gone(s: Season) -> None:
    Source.objects.filter(fragmentation=s.cutting).delete()


def cut_from_its_child(s: Season) -> None:
    Source.objects.filter(fragmentation=s.cutting).update(ramet=s.children[0])


def sources_of_two_taxa(s: Season) -> None:
    Collection.objects.filter(colony=s.other).update(taxon=other_taxon(s))


def cutting_of_another_taxon(s: Season) -> None:
    cutting(s).update(taxon=other_taxon(s))


def cutting_of_no_genet(s: Season) -> None:
    cutting(s).update(genet=None)


def pooled_of_a_genet(s: Season) -> None:
    Fragmentation.objects.filter(pk=s.pooled[0].fragmentation_id).update(genet=s.kept_genet)


def cutting_of_other_donors(s: Season) -> None:
    cutting(s).update(donor_set=set_of(s).get())


def cutting_of_another_generation(s: Season) -> None:
    cutting(s).update(generation=2)


def void_cutting_of_another_generation(s: Season) -> None:
    Fragmentation.objects.filter(pk=s.never[0].fragmentation_id).update(generation=7)


def child_of_another_taxon(s: Season) -> None:
    Ramet.objects.filter(pk=s.children[0].pk).update(taxon=other_taxon(s))


def child_of_another_genet(s: Season) -> None:
    Ramet.objects.filter(pk=s.children[0].pk).update(genet=s.kept_genet)


def wild_one_of_another_genet(s: Season) -> None:
    Ramet.objects.filter(pk=s.mother.pk).update(genet=s.kept_genet)


def legacy_one_of_another_genet(s: Season) -> None:
    Ramet.objects.filter(pk=s.legacy.pk).update(genet=s.kept_genet)


def relabelled_one_of_its_old_genet(s: Season) -> None:
    Ramet.objects.filter(pk=s.relabelled.pk).update(genet=s.programme.colony.genet)


def child_of_no_donors(s: Season) -> None:
    Ramet.objects.filter(pk=s.children[0].pk).update(donor_set=None)


def wild_one_of_other_donors(s: Season) -> None:
    Ramet.objects.filter(pk=s.mother.pk).update(donor_set=set_of(s).get())


def child_of_another_generation(s: Season) -> None:
    Ramet.objects.filter(pk=s.children[0].pk).update(generation=0)


def genet_of_another_taxon(s: Season) -> None:
    Genet.objects.filter(pk=s.programme.colony.genet_id).update(taxon=other_taxon(s))


def donor_of_another_taxon(s: Season) -> None:
    DonorColony.objects.filter(pk=s.other.pk).update(taxon=other_taxon(s))


FAULTS: Mapping[str, Sequence[Plant]] = {
    "colony_taxon": [colony_of_another_taxon],
    "rounded_position": [
        another_rounded_position,
        another_uncertainty,
        rounded_position_of_nothing,
        no_rounded_position,
    ],
    "donor_set_key": [another_key, member_gone],
    "genet_canonical": [merge_forgotten, merge_invented],
    "merged_other_taxon": [merged_with_another_taxon],
    "fragmentation_children_count": [more_children],
    "collection_pieces": [more_pieces],
    "piece_numbers": [number_twice, number_gone, numbers_from_2],
    "sources": [used_up_by_its_row, kept_by_its_row, another_mother],
    "collection_taxon": [collection_of_another_taxon],
    "collection_genet": [collection_of_another_genet],
    "collection_reef": [collection_from_another_reef],
    "cut_from_nothing": [sources_gone],
    "cut_from_its_own_children": [cut_from_its_child],
    "mixed_taxa": [sources_of_two_taxa],
    "fragmentation_taxon": [cutting_of_another_taxon],
    "fragmentation_genet": [cutting_of_no_genet, pooled_of_a_genet],
    "fragmentation_donor_set": [cutting_of_other_donors],
    "fragmentation_generation": [cutting_of_another_generation, void_cutting_of_another_generation],
    "ramet_taxon": [child_of_another_taxon],
    "ramet_genet": [
        child_of_another_genet,
        wild_one_of_another_genet,
        legacy_one_of_another_genet,
        relabelled_one_of_its_old_genet,
    ],
    "ramet_donor_set": [child_of_no_donors, wild_one_of_other_donors],
    "ramet_generation": [child_of_another_generation],
    "genet_other_taxon": [genet_of_another_taxon],
    "donor_other_taxon": [donor_of_another_taxon],
}
