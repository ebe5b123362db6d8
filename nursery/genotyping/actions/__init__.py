"""What can happen to samples, tables of genotypes and proposals."""

from nursery.genotyping.actions.decide import accept, accepting_effect, reject
from nursery.genotyping.actions.propose import propose
from nursery.genotyping.actions.sample import take_samples
from nursery.genotyping.actions.tables import import_table

__all__ = ["accept", "accepting_effect", "import_table", "propose", "reject", "take_samples"]
