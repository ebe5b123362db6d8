"""Panels, and tables of genotypes that are kept as a whole or not at all."""

from __future__ import annotations

import pytest

from nursery.core import registers
from nursery.core.errors import NotAllowed
from nursery.core.inputs import read
from nursery.genotyping.actions import import_table
from nursery.genotyping.inputs import TableIn
from nursery.genotyping.models import GenotypeTable, Panel, Sample, TableRow
from nursery.genotyping.queries import typed_of_panel, typed_of_table
from nursery.lineage.models import Ramet
from tests import factories as f
from tests.genotyping.laboratory import LOCI, ONE, OTHER, panel, samples, table, text_of
from tests.refusals import refused
from tests.verified import nothing_wrong


@pytest.fixture
def three(programme: f.Programme) -> list[Sample]:
    plugs: list[Ramet] = f.cut(programme.lead, programme.mothers(), 3, into=programme.tray)
    return samples(programme.lead, *plugs)


def imported(programme: f.Programme, of: Panel, text: str, **values: str) -> GenotypeTable:
    given = read(TableIn, {"panel": of.code, "text": text, **values})
    return import_table(programme.lead, given).table


def test_a_table_is_kept_with_its_calls(programme: f.Programme, three: list[Sample]) -> None:
    gap = ("1/2", "", "5/6", "")
    made = table(
        programme.lead, panel(programme.lead), {three[1]: ONE, three[0]: gap}, name="run 3"
    )
    assert str(made) == "run 3"
    typed = typed_of_table(made)
    assert typed.samples == (three[1], three[0])
    assert typed.calls.alleles.tolist() == [
        [[1, 2], [3, 4], [5, 6], [7, 8]],
        [[1, 2], [-1, -1], [5, 6], [-1, -1]],
    ]
    assert list(TableRow.objects.order_by("number").values_list("typed", flat=True)) == [4, 2]
    nothing_wrong()


def test_a_laboratorys_label_names_a_sample(programme: f.Programme, three: list[Sample]) -> None:
    registers.edit(programme.lead, three[0], {"label": "x-91"})
    made = imported(programme, panel(programme.lead), "sample,Inv1\nX-91,1/2")
    assert typed_of_table(made).samples == (three[0],)


def test_the_same_text_of_a_panel_is_the_same_table(
    programme: f.Programme, three: list[Sample]
) -> None:
    of = panel(programme.lead)
    made = table(programme.lead, of, {three[0]: ONE})
    given = read(TableIn, {"panel": of.code, "text": text_of({three[0]: ONE})})
    again = import_table(f.lead(), given)
    assert (again.table, again.fresh) == (made, False)
    other = table(programme.lead, panel(programme.lead), {three[0]: ONE})
    assert other != made


def test_every_fault_is_named_and_nothing_is_kept(
    programme: f.Programme, three: list[Sample]
) -> None:
    of = panel(programme.lead)
    text = f"sample,Inv1\n{three[0].code},1/x\nNOBODY,1"
    with refused("not_a_number", "other_ploidy", pointer="#/text/2/Inv1"):
        imported(programme, of, text)
    with refused("unknown_sample", "unknown_sample", pointer="#/text/2/sample"):
        imported(programme, of, f"sample,Inv1\nNOBODY,1/2\nNEITHER,1/2\n{three[0].code},1/2")
    with refused("unknown_panel"):
        import_table(programme.lead, read(TableIn, {"panel": "NONE", "text": "sample,Inv1\nS,1/2"}))


def test_a_label_of_two_samples_and_two_names_of_one_are_refused(
    programme: f.Programme, three: list[Sample]
) -> None:
    for sample in three[:2]:
        registers.edit(programme.lead, sample, {"label": "twin"})
    registers.edit(programme.lead, three[2], {"label": "third"})
    of = panel(programme.lead)
    with refused("ambiguous_sample"):
        imported(programme, of, "sample,Inv1\nTWIN,1/2")
    with refused("named_twice", pointer="#/text/3/sample"):
        imported(programme, of, f"sample,Inv1\n{three[2].code},1/2\nTHIRD,1/2")


def test_of_a_sample_typed_twice_the_last_table_counts(
    programme: f.Programme, three: list[Sample]
) -> None:
    of = panel(programme.lead)
    table(programme.lead, of, {three[0]: ONE, three[1]: ONE})
    table(programme.lead, of, {three[2]: ONE, three[0]: OTHER})
    typed = typed_of_panel(of)
    assert [sample.pk for sample in typed.samples] == [three[1].pk, three[2].pk, three[0].pk]
    assert typed.calls.alleles[2].tolist() == [[1, 1], [3, 3], [5, 5], [7, 7]]


def test_letters_and_counts_are_not_compared(programme: f.Programme, three: list[Sample]) -> None:
    of = panel(programme.lead, marker="snp")
    table(programme.lead, of, {three[0]: ("A/G",) * 4})
    table(programme.lead, of, {three[1]: ("1",) * 4})
    with refused("mixed_writing"):
        typed_of_panel(of)


def test_only_leads_keep_panels_and_tables(programme: f.Programme, three: list[Sample]) -> None:
    of = panel(programme.lead)
    for actor in (f.field(), f.staff(programme.nursery), f.viewer()):
        with refused("not_allowed", by=NotAllowed):
            panel(actor)
        with refused("not_allowed", by=NotAllowed):
            table(actor, of, {three[0]: ONE})


def test_loci_are_written_as_text_or_as_a_list(programme: f.Programme) -> None:
    assert panel(programme.lead, loci="Inv1, Inv2; Inv3\nInv4").loci == list(LOCI)


@pytest.mark.parametrize("loci", ["", [], "A A", "sample", ["A b"], "a/b"])
def test_loci_have_names_of_their_own(programme: f.Programme, loci: object) -> None:
    with refused("required" if loci in ("", []) else "malformed", pointer="#/loci"):
        panel(programme.lead, loci=loci)


def test_a_panel_stays_as_it_is_once_a_table_names_it(
    programme: f.Programme, three: list[Sample]
) -> None:
    of = panel(programme.lead)
    registers.edit(programme.lead, of, {"loci": [*LOCI, "Inv5"]})
    registers.edit(programme.lead, of, {"loci": list(LOCI)})
    table(programme.lead, of, {three[0]: ONE})
    with refused("fixed", pointer="#/loci"):
        registers.edit(programme.lead, of, {"loci": [*LOCI, "Inv5"]})
    with refused("fixed", pointer="#/marker"):
        registers.edit(programme.lead, of, {"marker": "snp"})
    registers.edit(programme.lead, of, {"name": "Invented"})
