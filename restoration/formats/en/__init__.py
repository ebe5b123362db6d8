"""Formats of English pages."""
