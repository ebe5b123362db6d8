"""Loading records from a folder of CSV files, all or nothing, with every refused row named.

`reading` takes a file apart, `files` says which files and columns there are, `spool` keeps the
lines in order, `loader` hands them to the actions, `report` says what came of it.
"""

from nursery.exchange.loading.loader import load
from nursery.exchange.loading.report import Fault, Report, Tally

__all__ = ["Fault", "Report", "Tally", "load"]
