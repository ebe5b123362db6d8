"""Roles, memberships and tokens."""
