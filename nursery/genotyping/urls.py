"""Addresses of samples, panels, tables of genotypes and proposals."""

from django.urls import path

from nursery.genotyping.views import importing, lists, pages, proposals, tables, taking

urlpatterns = [
    path("samples/", lists.SampleList.as_view(), name="samples"),
    # Before the pages of single ones, which would take it for a code.
    path("samples/take/", taking.TakePage.as_view(), name="take-samples"),
    path("samples/<str:code>/", pages.SamplePage.as_view(), name="sample"),
    path("panels/", lists.PanelList.as_view(), name="panels"),
    path("panels/<str:code>/", pages.PanelPage.as_view(), name="panel"),
    path("genotypes/", lists.TableList.as_view(), name="genotype-tables"),
    path("genotypes/import/", importing.ImportPage.as_view(), name="import-genotypes"),
    path("genotypes/<uuid:uid>/", tables.TablePage.as_view(), name="genotypes"),
    path("matches/propose/", tables.ProposePage.as_view(), name="propose-matches"),
    path("matches/<uuid:uid>/", proposals.ProposalPage.as_view(), name="matches"),
    path("matches/<uuid:uid>/<int:number>/", proposals.GroupPage.as_view(), name="match-group"),
]
