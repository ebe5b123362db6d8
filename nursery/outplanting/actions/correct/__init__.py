"""Correcting events: voiding, restoring, amending; each with a preview, each undone again."""

from nursery.outplanting.actions.correct.amend import amend, undo_amendment
from nursery.outplanting.actions.correct.outcome import Outcome, RametChange
from nursery.outplanting.actions.correct.void import restore, void

__all__ = ["Outcome", "RametChange", "amend", "restore", "undo_amendment", "void"]
