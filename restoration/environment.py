"""Reads settings from environment variables, with errors that name the variable."""

from collections.abc import Mapping

from django.core.exceptions import ImproperlyConfigured

_YES = {"1", "true", "yes", "on"}
_NO = {"", "0", "false", "no", "off"}


class Environment:
    """Typed reading of one mapping of variables, by default those of the process.

    A variable that is set to the empty text counts as not set. A value that cannot be read raises
    `ImproperlyConfigured` and names the variable, so that a typing error never becomes a default.
    """

    def __init__(self, variables: Mapping[str, str]) -> None:
        self._variables = variables

    def text(self, name: str, default: str = "") -> str:
        """The variable without surrounding blanks, or the default."""
        return self._variables.get(name, "").strip() or default

    def flag(self, name: str, default: bool) -> bool:
        """Yes or no, written 1/0, true/false, yes/no or on/off."""
        value = self.text(name).lower()
        if not value:
            return default
        if value in _YES:
            return True
        if value in _NO:
            return False
        raise ImproperlyConfigured(f"{name} must be 1 or 0, not {value!r}.")

    def whole(self, name: str, default: int, least: int = 0) -> int:
        """A whole number not below `least`."""
        value = self.text(name)
        try:
            number = int(value) if value else default
        except ValueError:
            raise ImproperlyConfigured(f"{name} must be a whole number, not {value!r}.") from None
        if number < least:
            raise ImproperlyConfigured(f"{name} must be at least {least}, not {number}.")
        return number

    def positive(self, name: str, default: float) -> float:
        """A finite number above zero."""
        value = self.text(name)
        try:
            number = float(value) if value else default
        except ValueError:
            raise ImproperlyConfigured(f"{name} must be a number, not {value!r}.") from None
        if not 0 < number < float("inf"):
            raise ImproperlyConfigured(f"{name} must be above 0, not {value}.")
        return number

    def names(self, name: str, default: tuple[str, ...] = ()) -> list[str]:
        """The comma-separated parts, blanks and empty parts dropped."""
        parts = [part.strip() for part in self.text(name).split(",")]
        return [part for part in parts if part] or list(default)
