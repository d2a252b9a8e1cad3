# Every target needs only Python 3.11+ and make; each makes what it needs of .venv.
PYTHON ?= python3
BIN := .venv/bin
NAME ?=

.PHONY: demo test lowest newest bench soak lint structure mutants measurements clean

demo: .venv/user
	$(BIN)/tintladder demo

# A process a core, each on one thread: more would only wait for one another.
test: .venv/dev
	OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=1 $(BIN)/python -m pytest -n auto

# The demo and the tests on the lowest of each package that pyproject.toml names, by the lowest Python;
# and on the newest of all, by every Python that is here.
lowest: ON := 3.11
lowest: RESOLUTION := lowest-direct
newest: ON := 3.11 3.12 3.13 3.14
newest: RESOLUTION := highest
# Some keep their Pythons out of sight until one is named.
newest: export PYENV_VERSION := $(shell pyenv versions --bare 2>/dev/null | paste -sd:)
lowest newest: .venv/dev
	$(BIN)/python -m pip install --quiet --disable-pip-version-check uv
	for python in $(ON); do \
	  $(BIN)/uv python find --quiet --no-python-downloads $$python 2>/dev/null || continue; \
	  $(BIN)/uv venv --quiet --clear --no-python-downloads --python $$python .venv-$@ && \
	  $(BIN)/uv pip install --quiet --python .venv-$@/bin/python --resolution $(RESOLUTION) \
	    --editable '.[dev]' && \
	  .venv-$@/bin/tintladder demo --studio .venv-$@/demo && \
	  OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=1 .venv-$@/bin/python -m pytest -n auto || exit 1; \
	done

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
	rm -rf .venv .venv-lowest .venv-newest build dist *.egg-info bench.json soak.json tintladder-demo
