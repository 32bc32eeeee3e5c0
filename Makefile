# Everything runs from here. Only git, make and python3 (on Debian with python3-venv) are assumed.
#   make demo    build the environment, judge the invented reeds, open the browser
#                (DEMO_ONLY=1: write the reports and stop)
#   make check   lint, types, import contracts, fast tests
#   make test    everything the project tests; installs what the tests need (Debian, as root)
#   make bench   timings and accuracy against peers, into benchmarks/results
#   make soak    random kills, big statistics, big fuzz runs
#   make lock    renew the locked requirements

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/pip --disable-pip-version-check --quiet
ONE_THREAD := OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 MKL_NUM_THREADS=1
# More than cores: browsers, servers and worker processes are waited for about half of the time.
JOBS ?= 3

export PYTHONDONTWRITEBYTECODE := 1

.PHONY: demo check lint types fast test bench soak lock debian clean

demo: $(VENV)/.run
	$(BIN)/crowlight demo --to demo $(if $(DEMO_ONLY),--only)

check: $(VENV)/.test lint types fast

lint: $(VENV)/.test
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/codespell src tests docs benchmarks *.md
	$(BIN)/lint-imports

types: $(VENV)/.test
	$(BIN)/pyright

fast: $(VENV)/.test
	$(ONE_THREAD) $(BIN)/python -m pytest -m "not browser and not soak" -n $(JOBS) tests/unit tests/properties src

test: $(VENV)/.test debian lint types
	$(ONE_THREAD) $(BIN)/python -m pytest -m "not soak" -n $(JOBS) --dist worksteal

bench: $(VENV)/.bench
	for file in benchmarks/bench_*.py; do echo "== $$file" && $(ONE_THREAD) $(BIN)/python $$file || exit 1; done
	$(BIN)/python benchmarks/summary.py

soak: $(VENV)/.test debian
	$(ONE_THREAD) $(BIN)/python -m pytest -m "soak or hypothesis" -n $(JOBS) --hypothesis-profile=search

debian:
	./scripts/debian-packages

$(BIN)/python:
	$(PYTHON) -m venv $(VENV)

$(VENV)/.run: $(BIN)/python requirements/run.txt pyproject.toml
	$(PIP) install --require-hashes -r requirements/run.txt
	$(PIP) install --no-deps --no-build-isolation --editable .
	touch $@

$(VENV)/.test: $(BIN)/python requirements/test.txt pyproject.toml
	$(PIP) install --require-hashes -r requirements/test.txt
	$(PIP) install --no-deps --no-build-isolation --editable .
	touch $@ $(VENV)/.run

$(VENV)/.bench: $(BIN)/python requirements/bench.txt pyproject.toml
	$(PIP) install --require-hashes -r requirements/bench.txt
	$(PIP) install --no-deps --no-build-isolation --editable .
	touch $@ $(VENV)/.test $(VENV)/.run

LOCK := $(BIN)/uv pip compile --quiet --universal --generate-hashes --no-header --no-annotate \
	--no-emit-index-url --python-version 3.11 pyproject.toml
lock: $(BIN)/python
	$(PIP) install uv
	$(LOCK) --upgrade --group build -o requirements/run.txt
	$(LOCK) --upgrade --all-extras --group test -c requirements/run.txt -o requirements/test.txt
	$(LOCK) --upgrade --all-extras --group test --group bench -c requirements/test.txt \
		-o requirements/bench.txt

clean:
	rm -rf $(VENV) demo soak dist build .pytest_cache .ruff_cache .hypothesis
