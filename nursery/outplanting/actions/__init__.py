"""What can happen on the reef: planting, lifting, and looking again; and the manifests for it."""

from nursery.outplanting.actions.lift import lift
from nursery.outplanting.actions.manifest import cancel, change_lines, draft
from nursery.outplanting.actions.plant import plant
from nursery.outplanting.actions.visit import visit

__all__ = ["cancel", "change_lines", "draft", "lift", "plant", "visit"]
