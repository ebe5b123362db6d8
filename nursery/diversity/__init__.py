"""Genet diversity: indices, reports and audits."""
