# make run    start Underlid here (sets itself up the first time)
# make test   everything that must hold: style, types, layers, tests, docs
# make bench  the figures, measured on this machine
# make lock   pin the dependencies anew (needs the network)

PYTHON ?= python3
VENV   := .venv
BIN    := $(VENV)/bin
PIP    := $(BIN)/python -m pip --disable-pip-version-check install --quiet -c requirements.lock

.PHONY: run demo test check bench lock clean

run: $(VENV)/ready-to-run
	@$(BIN)/underlid serve

demo: $(VENV)/ready-to-run
	@$(BIN)/underlid demo

test: check
	$(BIN)/python -m pytest -n 2 --dist loadfile

check: $(VENV)/ready-to-test
	$(BIN)/ruff check
	$(BIN)/ruff format --check
	$(BIN)/mypy
	$(BIN)/lint-imports

bench: $(VENV)/ready-to-test
	$(BIN)/python tests/bench/run.py

lock: $(VENV)/ready-to-test
	$(PIP) uv
	$(BIN)/uv pip compile --universal --all-extras --no-header --no-annotate --upgrade \
		--quiet pyproject.toml -o requirements.lock

clean:
	rm -rf $(VENV)

$(VENV)/bin/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
		{ echo "Underlid needs Python 3.11 or newer; set PYTHON=/path/to/it."; exit 1; }
	$(PYTHON) -m venv $(VENV)

$(VENV)/ready-to-run: $(VENV)/bin/python pyproject.toml requirements.lock
	$(PIP) -e .
	@touch $@

$(VENV)/ready-to-test: $(VENV)/ready-to-run
	$(PIP) -e '.[parquet,test]'
	@touch $@
