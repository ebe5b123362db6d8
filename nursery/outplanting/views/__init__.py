"""Pages of plots, outplantings and visits, of any one entry, and the find field."""
