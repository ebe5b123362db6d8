"""What can happen on the reef: manifests and policy, planting, lifting, looking again."""

from nursery.outplanting.actions.lift import lift
from nursery.outplanting.actions.manifest import cancel, change_lines, draft
from nursery.outplanting.actions.plant import plant
from nursery.outplanting.actions.policy import set_rule
from nursery.outplanting.actions.visit import visit

__all__ = ["cancel", "change_lines", "draft", "lift", "plant", "set_rule", "visit"]
