"""Pages of taxa, permits, genets, donor colonies and what was taken of them."""
