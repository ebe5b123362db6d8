"""A lead reads an audit, signs off with a reason, and the boat plants of it."""

from __future__ import annotations

import re

import pytest

from nursery.diversity.models import Override
from nursery.lineage.models import Ramet
from nursery.outplanting.models import Manifest, Outplant, Stage
from tests import factories as make
from tests.browser.visiting import PHONE, Visitor, faults_light_and_dark, unfolded
from tests.verified import nothing_wrong

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def ready(visitor: Visitor) -> list[Ramet]:
    """Three plugs of one genet on the plate, and a policy that wants two genets."""
    here = visitor.programme
    make.rule(here.lead, "genets_of_plot", 2)
    make.rule(here.lead, "largest_share", 100)
    make.rule(here.lead, "quarantine", 30)
    return make.cut(here.lead, here.mothers(), 3, into=here.plate)


def test_a_lead_reads_an_audit_and_signs_off(visitor: Visitor, ready: list[Ramet]) -> None:
    page, here = visitor.page, visitor.programme
    visitor.open("/manifests/new/")
    page.get_by_label("Title").fill("First day")
    page.get_by_label("Planned").fill(make.PLANTED)
    page.get_by_label("Plot").select_option(here.plot.code)
    page.get_by_label(re.compile("^Ramets, by code")).fill("\n".join(each.code for each in ready))
    page.get_by_role("button", name="Draft it").click()
    page.get_by_role("button", name="Audit it").click()
    fails = page.get_by_role("row").filter(has_text="Genets in each plot")
    assert "fails" in fails.inner_text()
    assert "at least 2" in fails.inner_text().replace("\u00a0", " ")
    assert "warns" in page.get_by_role("row").filter(has_text="quarantine").inner_text()
    assert "holds" in page.get_by_role("row").filter(has_text="largest genet").inner_text()
    unfolded(page)
    assert faults_light_and_dark(page) == []
    page.get_by_label(re.compile("Genets in each plot fails")).fill("The second colony is late.")
    page.get_by_role("button", name="Sign off all the same").click()
    page.get_by_role("link", name="Plant of it, dive by dive").click()
    page.get_by_role("button", name="The rest was planted").click()
    page.get_by_label("Day").fill(make.PLANTED)
    page.get_by_role("button", name="Enter the dive").click()
    page.wait_for_url("**sent=**")
    manifest = Manifest.objects.get()
    assert manifest.stage == Stage.SIGNED
    assert Override.objects.get().reason == "The second colony is late."
    assert set(
        Outplant.objects.filter(outplanting__manifest=manifest).values_list("ramet", flat=True)
    ) == {ramet.pk for ramet in ready}
    nothing_wrong()


@pytest.mark.sweep
def test_manifests_and_policy_are_read_by_light_and_in_the_dark(
    visitor: Visitor, ready: list[Ramet]
) -> None:
    page, here = visitor.page, visitor.programme
    manifest = make.manifest(here.lead, here.plot, ready)
    make.signed(here.lead, manifest, genets_of_plot="A trial.")
    page.set_viewport_size(PHONE)
    audit = manifest.audits.get().pk
    for address in (
        "/manifests/",
        "/manifests/new/",
        f"/manifests/{manifest.code}/",
        f"/manifests/{manifest.code}/audits/{audit}/",
        "/policy/",
    ):
        visitor.open(address)
        unfolded(page)
        assert faults_light_and_dark(page) == [], address
        width = page.evaluate("document.documentElement.scrollWidth")
        assert width <= PHONE["width"], address
