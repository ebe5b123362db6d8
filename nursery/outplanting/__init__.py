"""Manifests, outplantings and monitoring visits."""
