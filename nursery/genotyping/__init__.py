"""Samples, their genotypes, and who turns out to be the same individual."""
