"""Pages of ramets: the list, one of them with its trace, and what descends from something."""
