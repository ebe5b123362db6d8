"""Ramets and their steps: collecting, cutting, placing, moving, tracing."""
