"""How dates are written: year, month, day, whatever the language."""
