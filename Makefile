# Every target needs only Python 3.11+ and make; each makes what it needs of .venv.
PYTHON ?= python3
BIN := .venv/bin
NAME ?=

.PHONY: demo test bench soak lint structure mutants measurements clean

demo: .venv/user
	$(BIN)/tintladder demo

# A process a core, each on one thread: more would only wait for one another.
test: .venv/dev
	OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=1 $(BIN)/python -m pytest -n auto

# One benchmark alone: make bench NAME=fit.heldout_mean_de00
bench: .venv/dev
	$(BIN)/python -m tests.bench $(NAME)

soak: .venv/dev
	$(BIN)/python -m tests.soak $(NAME)

# mypy sees the checkout under its import name through a link.
lint: .venv/dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	MYPYPATH=.venv/src $(BIN)/mypy -p tintladder.calibrate -p tintladder.database

# How many files and functions a recipe and a reading run through.
structure: .venv/dev
	$(BIN)/python -m tests.structure

# Small mistakes made in what uncertainty rests on: whether a test fails of each.
mutants: .venv/dev
	OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=1 $(BIN)/python -m tests.mutants $(NAME)

measurements: .venv/dev
	$(BIN)/python -m tests.lab.boatyard measurements
	$(BIN)/python -m tests.lab.scans measurements
	$(BIN)/python -m tests.lab.photos measurements

.venv/bin/python:
	$(PYTHON) -m venv .venv

.venv/user: .venv/bin/python pyproject.toml
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable .
	mkdir -p .venv/src && ln -sfn "$(CURDIR)" .venv/src/tintladder
	touch $@

.venv/dev: .venv/user pyproject.toml
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[dev]'
	touch $@

clean:
	rm -rf .venv build dist *.egg-info bench.json soak.json tintladder-demo
