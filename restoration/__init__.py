"""The Django project: settings, addresses and the WSGI entry point."""
