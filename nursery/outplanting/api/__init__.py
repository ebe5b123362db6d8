"""The reef by API, and what concerns events of every kind: corrections, and what is unsettled."""
