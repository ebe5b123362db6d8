# make demo    a trial with invented records at http://127.0.0.1:8000 (PORT=8001 changes it)
# make test    the suite on SQLite and on PostgreSQL (ARGS="-k trace" goes to pytest)
# make lint    everything that can be checked without running it
# make dev     the whole environment for work on the code

PYTHON ?= python3
PORT ?= 8000
ARGS ?=
BIN := .venv/bin
INSTALL := $(PYTHON) requirements/install.py

# A trial keeps its own database, whatever the shell's variables say of another installation.
DEMO := env -u SECRET_KEY -u ALLOWED_HOSTS -u HTTPS DEBUG=1 DATABASE_URL=sqlite:///var/demo.sqlite3

.DEFAULT_GOAL := help
.PHONY: help demo demo-reset dev test test-sqlite test-postgres lint format bench screenshots lock \
	migrations

help:
	@sed -n 's/^# //p' Makefile

demo:
	@$(INSTALL) runtime
	@mkdir -p var
	@$(DEMO) $(BIN)/python manage.py migrate --verbosity 0
	@$(DEMO) $(BIN)/python manage.py prepare_demo
	@printf '\nRamet Register is at http://127.0.0.1:%s (Ctrl-C ends it)\n\n' '$(PORT)'
	@$(DEMO) $(BIN)/gunicorn restoration.wsgi --bind 127.0.0.1:$(PORT) --threads 4 \
		--worker-tmp-dir var --no-control-socket --log-level warning

demo-reset:
	@rm -f var/demo.sqlite3 var/demo.sqlite3-shm var/demo.sqlite3-wal
	@$(MAKE) --no-print-directory demo

dev:
	@$(INSTALL) runtime test dev bench

test:
	@$(INSTALL) test
	@$(BIN)/python tests/run_suite.py $(ARGS)

test-sqlite:
	@$(INSTALL) test
	@$(BIN)/python tests/run_suite.py --only sqlite $(ARGS)

test-postgres:
	@$(INSTALL) test
	@$(BIN)/python tests/run_suite.py --only postgres $(ARGS)

# The last check but one asks for the settings of a real installation, with a key made for it.
lint:
	@$(INSTALL) dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	DEBUG=1 $(BIN)/mypy
	$(BIN)/lint-imports
	DEBUG=1 DATABASE_URL= $(BIN)/python manage.py makemigrations --check --dry-run
	env -u DEBUG -u HTTPS DATABASE_URL= ALLOWED_HOSTS=register.example \
		SECRET_KEY="$$($(BIN)/python -c 'import secrets; print(secrets.token_urlsafe(64))')" \
		$(BIN)/python manage.py check --deploy --fail-level WARNING
	$(BIN)/djlint --check --quiet templates
	$(BIN)/djlint --lint --quiet templates

format:
	@$(INSTALL) dev
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .
	-$(BIN)/djlint --reformat --quiet templates

bench:
	@$(INSTALL) bench
	$(BIN)/python -m tests.bench $(ARGS)

# The README's pictures: an installation of the demo, looked at in Chromium.
screenshots:
	@$(INSTALL) test
	@DEBUG=1 $(BIN)/python -m tests.screenshots

# ARGS="--upgrade" takes the newest versions, ARGS="--upgrade-package django" that of one package.
lock:
	@$(INSTALL) dev
	@set -e; cd requirements; for name in runtime test dev bench; do \
		../$(BIN)/uv pip compile --quiet --universal --python-version 3.11 --generate-hashes \
			--no-emit-index-url --no-emit-find-links --no-header --no-annotate \
			$(ARGS) $$name.in --output-file $$name.txt; done

migrations:
	@$(INSTALL) dev
	DEBUG=1 $(BIN)/python manage.py makemigrations
