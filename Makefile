# `make` lists what there is to make.

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
SUDO := $(shell [ "$$(id -u)" = 0 ] || command -v sudo)
IMPORTS := PYTHONPATH=.:tests/support:tests/fuzz
UV := --universal --python-version 3.11 --generate-hashes --no-header --no-annotate --no-strip-extras --quiet

.DEFAULT_GOAL := help

help:  ## list these targets
	@sed -n 's/^\([a-z-]*\):.*##/\1 -/p' Makefile

demo: $(VENV)/run-ready  ## set up, then run the whole job on demo_logs
	$(BIN)/babbitt demo

test: $(VENV)/dev-ready $(VENV)/postgres-ready $(VENV)/chromium-ready  ## set up, then run every test
	$(BIN)/python -m pytest -n auto

check: $(VENV)/dev-ready  ## format, lint and types
	$(BIN)/bandit --quiet --configfile pyproject.toml --recursive pipeline dashboard demo_logs
	$(BIN)/python tests/security/audit.py
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy

bench: $(VENV)/dev-ready  ## measure the ratios of the design, on this machine
	$(BIN)/python -m pytest tests/benchmarks --benchmark-only --benchmark-disable-gc -p no:cacheprovider -s \
	  --table docs/benchmarks.md

bench-season: $(VENV)/dev-ready  ## take in and search a season of 100 million samples, with 1 and 2 workers
	$(IMPORTS) $(BIN)/python tests/benchmarks/whole_season.py --table docs/season.md

bench-growth: $(VENV)/dev-ready  ## measure the parts of the job at 10 to 10,000 runs
	$(IMPORTS) $(BIN)/python tests/benchmarks/growth.py --table docs/growth.md

bench-series: $(VENV)/dev-ready  ## simulate a series of 1,000 engines and 20 TB a year
	$(IMPORTS) $(BIN)/python tests/benchmarks/series.py

bench-large: $(VENV)/dev-ready  ## measure memory and speed of taking in logs of 2 GB
	$(BIN)/python tests/benchmarks/large.py

worlds: $(VENV)/dev-ready  ## judge the damage model in simulated worlds whose truth is known
	$(IMPORTS) $(BIN)/python tests/worlds/worlds.py --table docs/worlds.md

demo-logs: $(VENV)/run-ready  ## make demo_logs again from its seeded script
	$(BIN)/python -m demo_logs.make

crash: $(VENV)/dev-ready  ## kill the program 500 times at random instants, and see that nothing is lost
	$(IMPORTS) $(BIN)/python tests/robust/crash.py

faults: $(VENV)/dev-ready  ## let the disk fail at random writes, and see that nothing is lost
	$(IMPORTS) $(BIN)/python tests/robust/faults.py

crowd: $(VENV)/dev-ready $(VENV)/postgres-ready  ## work on one logbook with many at once, on both databases
	$(IMPORTS) $(BIN)/python tests/robust/crowd.py

soak: $(VENV)/dev-ready  ## watch and serve for 30 minutes, and see that memory stays flat
	$(IMPORTS) $(BIN)/python tests/robust/soak.py

dialects: $(VENV)/dev-ready  ## print what is read from one small log a form
	$(IMPORTS) $(BIN)/python -m dialects.make --show

laps: $(VENV)/dev-ready  ## plant hundreds of runs, and measure how well laps and corners are found
	$(IMPORTS) $(BIN)/python tests/laps/lap_harness.py

first-try: $(VENV)/dev-ready  ## tell how many of 72 made-up logs are read right at the first try
	$(IMPORTS) $(BIN)/python -m made_logs --show

mutate: $(VENV)/dev-ready  ## put deliberate faults in one at a time, and see which tests catch them
	$(IMPORTS) $(BIN)/python tests/mutants/mutate.py --table docs/mutations.md

FUZZ_SECONDS ?= 600
fuzz: $(VENV)/dev-ready  ## feed damaged logs to ingest for FUZZ_SECONDS (600)
	$(IMPORTS) $(BIN)/python tests/fuzz/fuzzing.py --seconds $(FUZZ_SECONDS)

fuzz-handed: $(VENV)/dev-ready  ## feed damaged specs, findings, photos, backups for FUZZ_SECONDS
	$(IMPORTS) $(BIN)/python tests/fuzz/fuzz_handed.py --seconds $(FUZZ_SECONDS)

fuzz-pages: $(VENV)/dev-ready  ## ask the pages what no browser asks for FUZZ_SECONDS
	$(IMPORTS) $(BIN)/python tests/fuzz/fuzz_pages.py --seconds $(FUZZ_SECONDS)

TARGET ?= packed
fuzz-guided: $(VENV)/dev-ready  ## let coverage guide the damage of TARGET, on Linux
	$(IMPORTS) $(BIN)/python tests/fuzz/guided.py $(TARGET) -max_total_time=$(FUZZ_SECONDS)

screenshots: $(VENV)/dev-ready $(VENV)/chromium-ready  ## take the README's pictures of the pages again
	$(IMPORTS) $(BIN)/python tests/browser/screenshots.py

lock: $(VENV)/dev-ready  ## resolve the dependencies again and write both lock files
	$(BIN)/pip install --quiet uv
	$(BIN)/uv pip compile pyproject.toml --extra build $(UV) --upgrade -o requirements.lock
	$(BIN)/uv pip compile pyproject.toml --extra build --extra cluster --extra postgres --extra dev $(UV) --upgrade -o requirements-dev.lock

clean:  ## remove what these targets made
	rm -rf $(VENV) .pytest_cache .mypy_cache .ruff_cache .hypothesis .benchmarks build dist

$(VENV)/pip-ready:
	$(PYTHON) -m venv $(VENV)
	touch $@

$(VENV)/run-ready: $(VENV)/pip-ready requirements.lock pyproject.toml
	$(BIN)/pip install --quiet --require-hashes -r requirements.lock
	$(BIN)/pip install --quiet --no-deps --no-build-isolation --editable .
	touch $@

# The register is tested on PostgreSQL too, which no wheel brings.
$(VENV)/postgres-ready: $(VENV)/pip-ready
	ls /usr/lib/postgresql/*/bin/postgres >/dev/null 2>&1 || \
	  { $(SUDO) apt-get update -qq && \
	    $(SUDO) env DEBIAN_FRONTEND=noninteractive apt-get install -qq -y --no-install-recommends postgresql; }
	touch $@

# The pages are tested in a real browser, which no wheel brings either.
$(VENV)/chromium-ready: $(VENV)/pip-ready
	command -v chromium >/dev/null || \
	  { $(SUDO) apt-get update -qq && \
	    $(SUDO) env DEBIAN_FRONTEND=noninteractive apt-get install -qq -y --no-install-recommends chromium fonts-dejavu-core; }
	touch $@

$(VENV)/dev-ready: $(VENV)/run-ready requirements-dev.lock
	$(BIN)/pip install --quiet --require-hashes -r requirements-dev.lock
	touch $@

.PHONY: help demo test check bench bench-season bench-growth bench-series bench-large worlds demo-logs crash faults crowd soak dialects laps first-try fuzz fuzz-handed fuzz-pages fuzz-guided screenshots lock clean
