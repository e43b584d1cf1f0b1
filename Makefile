# Two commands do everything on a fresh machine with Python 3.11 or newer: make demo, make test.
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip --quiet --disable-pip-version-check install --constraint constraints.txt
# One more than two cores: tests with a browser, a database or a killed program wait about as long as they compute.
JOBS ?= 3

.PHONY: demo test coverage lint types docs bench calibration clean

demo: $(VENV)/.run ## set up and walk through an invented harvest day
	@$(BIN)/chaffinch demo

# One thread each for linear algebra: the workers share the cores already.
PYTEST := OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 $(BIN)/python -m pytest -n $(JOBS) --dist worksteal
test: $(VENV)/.dev ## set up and run every test
	$(PYTEST)

coverage: $(VENV)/.dev ## the same, and which lines and branches the tests went through; a third slower
	$(PYTEST) --cov --cov-report term:skip-covered

lint: $(VENV)/.dev ## style, types and the import rule
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports

TSC := tests/js/node_modules/.bin/tsc
types: $(TSC) ## types of the phone's modules (needs npm, for the checker alone)
	$(TSC) -p tests/js/tsconfig.json
	$(TSC) -p tests/js/tsconfig.workers.json

docs: $(VENV)/.dev ## build the documentation, warnings as errors
	$(BIN)/sphinx-build -W --keep-going -q -b html docs docs/_build/html

bench: $(VENV)/.dev ## time the command and one estimate, as ratios
	$(BIN)/python bench/cold_start.py
	$(BIN)/python bench/warm_estimate.py

calibration: $(VENV)/.dev ## how often the ranges hold the truth (about ten minutes)
	$(BIN)/python bench/calibration.py --markdown

clean: ## forget the virtual environment and everything built
	rm -rf $(VENV) docs/_build build dist .coverage .pytest_cache .mypy_cache .ruff_cache .hypothesis .import_linter_cache

# The build backend is pinned like everything else, hence no build isolation.
$(VENV)/.run: pyproject.toml constraints.txt
	@$(PYTHON) -c 'import sys; sys.exit("Chaffinch needs Python 3.11 or newer, this is " + sys.version.split()[0]) if sys.version_info < (3, 11) else None'
	$(PYTHON) -m venv $(VENV)
	$(PIP) hatchling editables
	$(PIP) --no-build-isolation --editable '.[web,paper]'
	@touch $@

$(TSC): tests/js/package.json
	cd tests/js && npm install --no-package-lock --no-audit --no-fund --silent
	@touch $@

# One test library comes as source alone and is built by setuptools.
$(VENV)/.dev: $(VENV)/.run
	$(PIP) setuptools wheel
	$(PIP) --no-build-isolation --editable '.[web,paper,fieldlog,test,lint,docs]'
	@touch $@
