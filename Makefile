# Two commands matter: `make demo` and `make test`. Both make the virtual environment they need.
# Only Python 3.11 or newer and make are assumed; another Python: make demo PYTHON=python3.12

PYTHON ?= python3
VENV   := .venv
BIN    := $(VENV)/bin
PIP    := $(BIN)/python -m pip --quiet --disable-pip-version-check
OUT    := demo-report

.PHONY: help demo test coverage check install test-all test-browser lint accuracy edits mutants docs bench bench-alarm bench-history release-notes clean

help:  ## list the commands
	@sed -n 's/^\([a-z-]*\):.*## /make \1  - /p' Makefile

demo: $(VENV)/.run  ## score the sample photos, print the verdicts
	@$(BIN)/jarvision score sample_images --register sample_images/jars.csv --out $(OUT)

FAST := -n auto --dist loadscope -m 'not slow and not scenes and not browser'

test: check  ## all checks, as continuous integration runs them
	$(BIN)/python -m pytest -q $(FAST) --durations 15 --durations-min 2

coverage: $(VENV)/.dev  ## the same tests with what they run of the package, held against its floors; half as long again
	$(BIN)/coverage erase
	$(BIN)/coverage run -m pytest -q $(FAST)
	$(BIN)/coverage combine --quiet
	$(BIN)/coverage report
	$(BIN)/coverage json --quiet -o $(VENV)/coverage.json
	$(BIN)/python .ci/coverage_floor.py $(VENV)/coverage.json

check: $(VENV)/.dev  ## the checks that need no test: lint, format, types, layers, unused names
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/vulture

install: $(VENV)/.dev  ## make the environment that these commands work in

test-all: $(VENV)/.dev  ## the slow tests too, and those that render scenes
	$(PIP) install --editable '.[test,dev,scenes]'
	$(BIN)/python -m pytest -n auto

test-browser: $(VENV)/.dev  ## the report in Chromium; needs npm, and Chromium or playwright install
	$(PIP) install --editable '.[browser]'
	npm install --silent --no-package-lock --prefix tests/browser
	$(BIN)/python -m pytest -q -m browser

lint: $(VENV)/.dev  ## put the code in order, as far as that can be done without you
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .
	$(BIN)/mypy

accuracy: $(VENV)/.dev  ## measure accuracy on rendered photos in PHOTOS; renders what is missing, for hours
	$(PIP) install --editable '.[test,dev,scenes]'
	$(BIN)/python -m tests.accuracy.benchmark $(if $(PHOTOS),--photos $(PHOTOS)) $(if $(WALLS),--walls $(WALLS))

edits: $(VENV)/.dev  ## count silent errors on edited photos: FOREIGN, UNSEEN and SCENES name more, EVERY=unseen=5 thins out
	$(BIN)/python -m tests.accuracy.edits --page --shelf $(if $(FOREIGN),--foreign $(FOREIGN)) \
	  $(if $(UNSEEN),--unseen $(UNSEEN)) $(if $(SCENES),--scenes $(SCENES)) $(foreach step,$(EVERY),--every $(step))

mutants: $(VENV)/.dev  ## put small faults into the code, count those that tests notice; for a night. SEED= draws others, JOBS= at once
	$(PIP) install --editable '.[test,dev,mutants]'
	nice $(BIN)/python -m tests.mutants --page $(if $(SEED),--seed $(SEED)) $(if $(JOBS),--jobs $(JOBS))

docs: $(VENV)/.dev  ## write the tables and pictures of the docs from the code
	$(BIN)/python docs/tables.py
	$(BIN)/python docs/pictures.py

bench: $(VENV)/.dev  ## measure speed and memory, write docs/speed.md; takes half an hour
	$(BIN)/python -m tests.benchmarks

bench-alarm: $(VENV)/.dev  ## has reading a photo become slower? In turns with the newest commit of the history
	$(BIN)/python -m pytest -q -s -p no:cacheprovider tests/benchmarks/ratios.py -k no_longer

bench-history: $(VENV)/.dev  ## measure the same and keep it in the history, under the commit that is checked out
	@mkdir -p build/bench
	$(BIN)/python -m pytest -q -s -p no:cacheprovider tests/benchmarks/ratios.py -k decodings --benchmark-json build/bench/ratios.json
	$(BIN)/python -m tests.benchmarks.history build/bench/ratios.json

release-notes: $(VENV)/.dev  ## show what changelog.d holds, as it will stand in CHANGELOG.md
	@$(BIN)/towncrier build --draft --version next

clean:  ## remove what these commands made
	rm -rf $(VENV) $(OUT) build dist .mypy_cache .ruff_cache .pytest_cache .import_linter_cache .coverage*

$(VENV)/.python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null || \
	  { echo 'jarvision needs Python 3.11 or newer; name it like this: make demo PYTHON=python3.12'; exit 1; }
	@$(PYTHON) -c 'import ensurepip, venv' 2>/dev/null || \
	  { echo 'This Python cannot make virtual environments. On Debian or Ubuntu: sudo apt install python3-venv'; exit 1; }
	$(PYTHON) -m venv $(VENV)
	@touch $@

$(VENV)/.run: $(VENV)/.python pyproject.toml
	@echo 'Installing into $(VENV): a few minutes the first time.'
	@$(PIP) install $(PIP_OPTIONS) --editable .
	@touch $@

$(VENV)/.dev: $(VENV)/.run
	@$(PIP) install $(PIP_OPTIONS) --editable '.[test,dev]'
	@touch $@
