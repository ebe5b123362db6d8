"""Audits and sign-offs as they are read: by page and API."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import QuerySet

from nursery.core.errors import Problem, Unknown
from nursery.diversity.actions import answers_of
from nursery.diversity.audit.case import Answer, Verdict
from nursery.diversity.audit.gather import taxon_names
from nursery.diversity.models import Audit, Override, SignOff
from nursery.outplanting.models import Manifest
from nursery.outplanting.rules import Rule


@dataclass(frozen=True, slots=True)
class AnswerTold:
    """How one rule is answered for one taxon (null: for all together). `alone` is the figure of the
    manifest, `after` that of the site as it would stand; `tags` are at fault, or of them it cannot
    be said."""

    rule: str
    verdict: Verdict
    taxon: str | None
    taxon_name: str
    limit: float | None
    alone: float | None
    after: float | None
    where: str
    reason: str
    at_fault: int
    unknown: int
    tags: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RuleUsed:
    """One row of the policy that an audit judged by."""

    rule: Rule
    taxon: str | None
    value: str
    since: date


@dataclass(frozen=True, slots=True)
class AuditTold:
    """One audit. `stands` says, of a look at a manifest that was signed off, whether that outlived
    it."""

    audit: int
    at: datetime
    by: str
    day: date
    stock: str
    ramets: int
    verdict: Verdict
    stands: bool | None
    changed: str
    answers: tuple[AnswerTold, ...]
    rules: tuple[RuleUsed, ...]

    def count(self, verdict: Verdict) -> int:
        return sum(answer.verdict is verdict for answer in self.answers)

    @property
    def failed(self) -> list[AnswerTold]:
        return [answer for answer in self.answers if answer.verdict is Verdict.FAILS]


@dataclass(frozen=True, slots=True)
class OverrideTold:
    """A failed rule that a lead answers for."""

    rule: str
    taxon: str | None
    reason: str


@dataclass(frozen=True, slots=True)
class SignOffTold:
    """A sign-off: of which audit and stock, and since when and why it holds no more."""

    audit: int
    stock: str
    at: datetime
    by: str
    note: str
    lapsed_at: datetime | None
    because: str
    overrides: tuple[OverrideTold, ...]


def audits_of(manifest: Manifest) -> list[AuditTold]:
    """The audits of a manifest, the newest first. Four queries."""
    return _told(_audits(manifest))


def one_audit(manifest: Manifest, number: int) -> AuditTold:
    """An audit of a manifest; raises Unknown (`unknown_audit`)."""
    found = _told(_audits(manifest).filter(pk=number))
    if not found:
        raise Unknown(Problem("unknown_audit", f"{manifest.code} has no audit {number}."))
    return found[0]


def _audits(manifest: Manifest) -> QuerySet[Audit]:
    rows = Audit.objects.filter(manifest=manifest).select_related("by")
    return rows.prefetch_related("rules__taxon")


def _told(rows: Iterable[Audit]) -> list[AuditTold]:
    """Audits with their answers and the rows of the policy that they used."""
    found = [(row, answers_of(row)) for row in rows]
    taxa = {answer.taxon for _, answers in found for answer in answers}
    names = taxon_names({pk for pk in taxa if pk is not None})
    return [
        AuditTold(
            audit=row.pk,
            at=row.at,
            by=row.by.username,
            day=row.day,
            stock=row.stock,
            ramets=row.ramets,
            verdict=Verdict(row.verdict),
            stands=row.stands,
            changed=row.changed,
            answers=tuple(_answer(answer, names) for answer in answers),
            rules=tuple(
                RuleUsed(
                    Rule(each.rule),
                    each.taxon.code if each.taxon is not None else None,
                    each.value,
                    each.since,
                )
                for each in sorted(row.rules.all(), key=lambda each: (each.rule, each.pk))
            ),
        )
        for row, answers in found
    ]


def _answer(answer: Answer, names: Mapping[int, tuple[str, str]]) -> AnswerTold:
    code, name = names[answer.taxon] if answer.taxon is not None else (None, "")
    return AnswerTold(
        rule=answer.rule,
        verdict=answer.verdict,
        taxon=code,
        taxon_name=name,
        limit=answer.limit,
        alone=answer.alone,
        after=answer.after,
        where=answer.where,
        reason=answer.reason,
        at_fault=answer.at_fault,
        unknown=answer.unknown,
        tags=answer.tags,
        notes=answer.notes,
    )


def sign_offs_of(manifest: Manifest) -> list[SignOffTold]:
    """The sign-offs of a manifest, the newest first. Two queries."""
    rows = SignOff.objects.filter(manifest=manifest).select_related("by")
    kept: dict[int, list[OverrideTold]] = {}
    for each in Override.objects.filter(sign_off__manifest=manifest).select_related("taxon"):
        told = OverrideTold(each.rule, each.taxon.code if each.taxon else None, each.reason)
        kept.setdefault(each.sign_off_id, []).append(told)
    return [
        SignOffTold(
            audit=row.audit_id,
            stock=row.stock,
            at=row.at,
            by=row.by.username,
            note=row.note,
            lapsed_at=row.lapsed_at,
            because=row.because,
            overrides=tuple(kept.get(row.pk, ())),
        )
        for row in rows
    ]
