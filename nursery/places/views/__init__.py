"""Pages of places: lists, and one page for each reef, nursery, system, bay and structure."""
