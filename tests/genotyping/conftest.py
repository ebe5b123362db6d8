"""One of everything, for tests that are about something else."""

from tests.standing import programme, standing

__all__ = ["programme", "standing"]
