# Two commands: `make run` serves, `make test` checks. Both set up what they need first.
#   PORT, DATA_DIR, SERVE="--lan"   for run        PYTHON   the interpreter for the set-up
#   ARGS="tests/inspections -k trip"   passed on to pytest
.PHONY: run setup setup-test test lint bench fuzz
MAKEFLAGS += --no-print-directory

run: setup
	@exec .venv/bin/python manage.py serve $(SERVE)

setup:
	@config/setup.sh run

setup-test:
	@config/setup.sh test

test: setup-test lint
	@exec .venv/bin/python -m tests.run $(ARGS)

lint: setup-test
	.venv/bin/ruff check .
	.venv/bin/ruff format --check .
	.venv/bin/mypy .
	.venv/bin/lint-imports --no-logo
	.venv/bin/python manage.py check
	.venv/bin/python manage.py makemigrations --check --dry-run

# Sizes and seconds: prints figures, fails on none of them.
bench: setup-test
	@exec .venv/bin/python -m tests.run --bench $(ARGS)

# The long searches: more examples, deeper sequences, the whole alphabet.
fuzz: setup-test
	@exec .venv/bin/python -m tests.run --fuzz $(ARGS)
