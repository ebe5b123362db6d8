"""Reefs, nurseries, systems, bays and structures; outplant sites and plots."""
