# `make demo` and `make test` need nothing but Python 3.11 or newer, make, and a package index.
# README.md has the same steps for a machine without make.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
READY := $(VENV)/.ready
MOVED := slot.lamps.base=0x44010000

.PHONY: demo quick test test-long fuzz bench format clean

demo: $(READY)
	@echo '$$ busbox run first_light'
	@$(BIN)/busbox run first_light
	@echo
	@echo 'The same traffic, on hardware whose lamps have moved:'
	@echo '$$ busbox run first_light --set $(MOVED)'
	@$(BIN)/busbox run first_light --set $(MOVED)
	@echo
	@echo 'Ask what one of those addresses reaches now (the command lives in $(BIN)):'
	@echo '$$ $(BIN)/busbox where first_light 0x44000008 --set $(MOVED)'

quick: $(READY)
	$(BIN)/python -c "from busbox.verilog.front_end import prepare; prepare()"
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	PYTHONWARNDEFAULTENCODING=1 $(BIN)/python -m pytest -n 2 --dist worksteal -m quick

test: $(READY)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/python tests/on_wheel.py

test-long: $(READY)
	$(BIN)/python -m pytest -n 2 --dist worksteal -m long

# Spoiled input for so many seconds; what it finds it keeps in tests/fuzz/cases.
SECONDS ?= 600
fuzz: $(READY)
	$(BIN)/python -m tests.fuzz --seconds $(SECONDS) --seed $$$$

bench: $(READY)
	$(BIN)/python -m tests.benchmark

format: $(READY)
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

$(READY): pyproject.toml
	@$(PYTHON) -c "import sys; sys.exit('Busbox needs Python 3.11 or newer' if sys.version_info < (3, 11) else 0)"
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --editable ".[test]"
	@touch $(READY)

clean:
	rm -rf $(VENV) build dist *.egg-info
