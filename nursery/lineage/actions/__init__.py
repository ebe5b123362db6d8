"""What can happen to ramets. Each act checks, writes and returns the event, all or nothing."""

from nursery.lineage.actions.collect import collect
from nursery.lineage.actions.count import count_structures
from nursery.lineage.actions.cut import cut
from nursery.lineage.actions.end import end_ramets
from nursery.lineage.actions.identify import identify
from nursery.lineage.actions.intake import take_in
from nursery.lineage.actions.lose import lose_structures
from nursery.lineage.actions.merge import merge_genets, merging_effect
from nursery.lineage.actions.move import move
from nursery.lineage.actions.relabel import relabel, relabelling_effect
from nursery.lineage.actions.stock import enter_stock
from nursery.lineage.actions.structures import edit_structure, move_structures
from nursery.lineage.actions.tag import retag

__all__ = [
    "collect",
    "count_structures",
    "cut",
    "edit_structure",
    "end_ramets",
    "enter_stock",
    "identify",
    "lose_structures",
    "merge_genets",
    "merging_effect",
    "move",
    "move_structures",
    "relabel",
    "relabelling_effect",
    "retag",
    "take_in",
]
