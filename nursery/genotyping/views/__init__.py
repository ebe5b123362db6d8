"""Pages of samples, genotypes and proposals."""
