"""Auditing a manifest, and signing it off before the boat leaves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict

from django.db import transaction
from django.db.models import F, OuterRef, Subquery
from django.db.models.functions import Coalesce
from django.utils import timezone

from nursery.core.actor import Actor, Role, require
from nursery.core.errors import Problem, ProblemList, Refused
from nursery.diversity.audit.case import (
    Answer,
    Verdict,
    no_worse,
    verdict_of,
)
from nursery.diversity.audit.gather import gather, taxon_names
from nursery.diversity.audit.judge import judge
from nursery.diversity.inputs import SignOffIn
from nursery.diversity.models import Audit, Override, SignOff
from nursery.lineage import rows
from nursery.lineage.models import Ramet
from nursery.outplanting.actions.manifest import locked, refuse_cancelled
from nursery.outplanting.manifests import IS_PLANTED, lines, since_seen, stock_of
from nursery.outplanting.models import Manifest, ManifestLine, Stage
from nursery.outplanting.stock import bearable, told


@transaction.atomic
def audit(actor: Actor, manifest: Manifest) -> Audit:
    """Judge a manifest as everything stands now, and keep the answers.

    Of one that is signed off it decides whether the sign-off stands: it does where ramets were only
    taken off, or swapped within their genets, and no rule fails but those that were overridden, and
    these no worse. Anything else lapses it. The number of queries does not grow with the ramets.

    Raises NotAllowed; Refused (`manifest_cancelled`, `nothing_to_audit`).
    """
    require(actor, Role.FIELD, Role.NURSERY, act="audit a manifest")
    manifest = locked(manifest)
    refuse_cancelled(manifest)
    # What is written down as seen is what was judged: nobody dies in between.
    rows.lock_all(lines(manifest).values_list("ramet", flat=True), {})
    gathered = gather(manifest)
    if not gathered.case.plugs and not gathered.case.gone:
        message = f"{manifest.code} has no ramets yet. Put some on it first."
        raise Refused(Problem("nothing_to_audit", message))
    answers = judge(gathered.case)
    differences = since_seen(manifest) if manifest.stage == Stage.SIGNED else []
    _see(manifest)
    row = Audit.objects.create(
        manifest=manifest,
        by_id=actor.user_id,
        day=manifest.earliest,
        stock=stock_of(manifest),
        ramets=len(gathered.case.plugs),
        verdict=verdict_of(answers),
        answers=[asdict(answer) for answer in answers],
        changed=told(differences)[:500],
    )
    row.rules.set(gathered.rows)
    manifest.stock = row.stock
    if manifest.stage != Stage.SIGNED:
        manifest.stage = Stage.AUDITED
        if manifest.lapsed:
            # It lapsed when its lines changed, which knows nothing of sign-offs.
            old = SignOff.objects.filter(manifest=manifest, lapsed_at=None)
            old.update(lapsed_at=timezone.now(), because=manifest.lapsed)
    else:
        fault = "" if bearable(differences) else row.changed
        _stands_or_lapses(manifest, row, answers, fault)
    manifest.save(update_fields=["stage", "stock", "lapsed"])
    return row


@transaction.atomic
def sign_off(actor: Actor, manifest: Manifest, given: SignOffIn) -> SignOff:
    """Sign a manifest off as its last audit saw it; each rule that fails needs its reason.

    Raises NotAllowed; Refused (`manifest_cancelled`, `already_signed_off`, `not_audited`,
    `audit_outdated`, `rule_fails`, `no_such_failure`).
    """
    require(actor, act="sign a manifest off")
    manifest = locked(manifest)
    refuse_cancelled(manifest)
    if manifest.stage == Stage.SIGNED:
        raise Refused(Problem("already_signed_off", f"{manifest.code} is signed off already."))
    last = Audit.objects.filter(manifest=manifest).first()
    if last is None or manifest.stage != Stage.AUDITED:
        message = f"{manifest.code} was not audited as it is now. Audit it first."
        raise Refused(Problem("not_audited", message))
    if (given.audit, given.stock) != (last.pk, last.stock):
        message = "That is not the last audit of this manifest, or not its stock. Read the last."
        raise Refused(Problem("audit_outdated", message, ("audit",)))
    differences = since_seen(manifest)
    if differences:
        message = f"It has changed since the audit: {told(differences)}. Audit it again."
        raise Refused(Problem("audit_outdated", message, ("audit",)))
    failed = [answer for answer in answers_of(last) if answer.verdict is Verdict.FAILS]
    reasons = _reasons(given, failed)
    row = SignOff.objects.create(
        manifest=manifest,
        audit=last,
        stock=last.stock,
        by_id=actor.user_id,
        note=given.note.strip(),
    )
    Override.objects.bulk_create(
        Override(sign_off=row, rule=answer.rule, taxon_id=answer.taxon, reason=reason)
        for answer, reason in zip(failed, reasons, strict=True)
    )
    manifest.stage, manifest.lapsed = Stage.SIGNED, ""
    manifest.save(update_fields=["stage", "lapsed"])
    return row


def answers_of(row: Audit) -> list[Answer]:
    """The answers of an audit as they were given."""
    return [
        Answer(
            **{
                **kept,
                "verdict": Verdict(kept["verdict"]),
                "tags": tuple(kept["tags"]),
                "notes": tuple(kept["notes"]),
            }
        )
        for kept in row.answers
    ]


def _see(manifest: Manifest) -> None:
    """Write down what there is to see of the ramets that are still to be planted.

    Of those that are planted, what was seen before stays: a void gives them back as they were.
    """
    left = ManifestLine.objects.filter(~IS_PLANTED, manifest=manifest)
    ramet = Ramet.everything.filter(pk=OuterRef("ramet"))
    individual = Coalesce(F("genet__canonical_id"), F("genet_id"))
    left.filter(taken_off=False).update(
        seen_plot=F("plot"),
        seen_genet=Subquery(ramet.annotate(found=individual).values("found")),
        seen_life=Subquery(ramet.values("life")),
        seen_place=Subquery(ramet.values("place")),
    )
    unseen = dict.fromkeys(("seen_plot", "seen_genet", "seen_life", "seen_place"))
    left.filter(taken_off=True).update(**unseen)


def _stands_or_lapses(
    manifest: Manifest, row: Audit, answers: Sequence[Answer], fault: str
) -> None:
    """Say of a signed-off manifest whether its sign-off outlives this audit."""
    signed = SignOff.objects.select_related("audit").get(manifest=manifest, lapsed_at=None)
    if not fault:
        borne = {
            (answer.rule, answer.taxon): answer
            for answer in answers_of(signed.audit)
            if answer.verdict is Verdict.FAILS
        }
        failing = [
            answer.rule.replace("_", " ")
            for answer in answers
            if answer.verdict is Verdict.FAILS
            and not _borne(answer, borne.get((answer.rule, answer.taxon)))
        ]
        if failing:
            fault = f"It fails now: {', '.join(dict.fromkeys(failing))}. {row.changed}".strip()
    row.stands = not fault
    row.save(update_fields=["stands"])
    if fault:
        signed.lapsed_at, signed.because = timezone.now(), fault[:500]
        signed.save(update_fields=["lapsed_at", "because"])
        manifest.stage, manifest.lapsed = Stage.AUDITED, signed.because


def _borne(now: Answer, then: Answer | None) -> bool:
    return then is not None and no_worse(now, then)


def _reasons(given: SignOffIn, failed: Sequence[Answer]) -> list[str]:
    """The reason given for each failed rule, in order; refused where one lacks or is too much."""
    names = taxon_names({answer.taxon for answer in failed if answer.taxon is not None})
    by_key: dict[tuple[str, str | None], str] = {}
    problems = ProblemList()
    wanted = [
        (answer.rule, names[answer.taxon][0] if answer.taxon is not None else None)
        for answer in failed
    ]
    for number, each in enumerate(given.overrides):
        key = (each.rule, each.taxon)
        if key not in wanted or key in by_key:
            message = f"The audit has no failure of {each.rule} to answer for, or it is twice here."
            problems.add("no_such_failure", message, "overrides", number, "rule")
        by_key[key] = each.reason
    for rule, taxon in wanted:
        if (rule, taxon) not in by_key:
            of = f" of {taxon}" if taxon else ""
            message = (
                f"The manifest fails {rule.replace('_', ' ')}{of}. Change it, or give the reason "
                "why it may be planted all the same."
            )
            problems.add("rule_fails", message, "overrides")
    problems.raise_if_any()
    return [by_key[key] for key in wanted]
