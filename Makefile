# Two commands do all the set-up on a bare Debian machine with python3, git and make:
#   make demo    runs the main job on the built-in example
#   make test    style, types and every test
PYTHON ?= python3
VENV   := .venv
BIN    := $(VENV)/bin
# One BLAS and one numba thread: the matrices are small and threads slow them down (measured, docs/decisions).
export OPENBLAS_NUM_THREADS ?= 1
export OMP_NUM_THREADS ?= 1
export NUMBA_NUM_THREADS ?= 1
export MPLBACKEND ?= Agg

.PHONY: demo test test-all lint unit bench-speed docs clean

demo: $(VENV)/.ready
	$(BIN)/coilwright demo --out out/demo

test: lint unit

lint: $(VENV)/.ready-dev
	$(BIN)/ruff check .
	$(BIN)/mypy

unit: $(VENV)/.ready-dev
	$(BIN)/pytest -n auto -m "not slow"

test-all: lint
	$(BIN)/pytest -n auto

bench-speed: $(VENV)/.ready-dev
	$(BIN)/python -m benchmarks

docs: $(VENV)/.ready-dev
	$(BIN)/sphinx-build -W -b html docs docs/_build/html

$(VENV)/bin/pip:
	@tools/make_venv.sh $(PYTHON) $(VENV)

# Compiled here once: a Python that is told to write no bytecode would compile every module at every start.
$(VENV)/.ready: pyproject.toml | $(VENV)/bin/pip
	$(BIN)/pip install --quiet -e ".[bench]"
	$(BIN)/python -m compileall -q src/coilwright
	@touch $@

$(VENV)/.ready-dev: pyproject.toml tools/test_programs.sh | $(VENV)/bin/pip
	$(BIN)/pip install --quiet -e ".[dev,crosscheck,docs]"
	$(BIN)/python -m compileall -q src/coilwright
	@tools/test_programs.sh
	@touch $@ $(VENV)/.ready

clean:
	rm -rf $(VENV) out docs/_build .pytest_cache .mypy_cache .ruff_cache
