# Two commands matter: `make demo` and `make test`. Both make the virtual environment they need.
PYTHON ?= python3
VENV   := .venv
BIN    := $(VENV)/bin
DEMO   := demo-report

.PHONY: demo test test-all lint clean

$(VENV)/.installed: pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --upgrade pip
	$(BIN)/python -m pip install --quiet --editable '.[test]'
	@touch $@

$(VENV)/.dev: $(VENV)/.installed
	$(BIN)/python -m pip install --quiet --editable '.[test,dev]'
	@touch $@

demo: $(VENV)/.installed  ## score the sample photos
	$(BIN)/jarvision score sample_images --register sample_images/jars.csv --out $(DEMO)

test: $(VENV)/.dev  ## everything that continuous integration runs
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/python -m pytest -m 'not slow and not scenes' -n auto

test-all: $(VENV)/.dev  ## the slow tests too; renders scenes
	$(BIN)/python -m pip install --quiet --editable '.[test,dev,scenes]'
	$(BIN)/python -m pytest -n auto

lint: $(VENV)/.dev
	$(BIN)/ruff format .
	$(BIN)/ruff check --fix .
	$(BIN)/mypy

clean:
	rm -rf $(VENV) $(DEMO) build dist .mypy_cache .ruff_cache .pytest_cache
