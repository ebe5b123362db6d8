"""Pages that look over everything: Today, and the diversity of a site."""
