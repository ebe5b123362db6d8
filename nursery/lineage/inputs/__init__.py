"""What comes in for each act of lineage. Things are named by code; a ramet also by a tag in force
or by its place (`K-14 C7`)."""

from nursery.lineage.inputs.growing import (
    MOST_ROWS,
    ArrivalIn,
    CauseWord,
    CellText,
    ChildIn,
    CollectionIn,
    FragmentationIn,
    IntakeIn,
    LegacyIn,
    MovedIn,
    MoveIn,
    PieceIn,
    RametText,
    SourceIn,
    StandingIn,
    StockEntryIn,
    StructureMoveIn,
    TagText,
)

__all__ = [
    "MOST_ROWS",
    "ArrivalIn",
    "CauseWord",
    "CellText",
    "ChildIn",
    "CollectionIn",
    "FragmentationIn",
    "IntakeIn",
    "LegacyIn",
    "MoveIn",
    "MovedIn",
    "PieceIn",
    "RametText",
    "SourceIn",
    "StandingIn",
    "StockEntryIn",
    "StructureMoveIn",
    "TagText",
]
