"""Ramets and their events by API."""
