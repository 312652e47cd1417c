# Everything a fresh machine needs: Python 3.11+, make, and root or sudo for the system packages that tests use.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
LOCK := deploy/requirements.lock
DEMO_LOCK := deploy/requirements-demo.lock
TEST_LOCK := deploy/requirements-test.lock
BUILD_LOCK := deploy/requirements-build.lock
PIP := $(BIN)/python -m pip install --quiet --disable-pip-version-check --no-compile
# Tests write and sync many small files: in memory, where that has 4 GB to spare and programs may run from it.
MEMORY := $(shell grep ' /dev/shm ' /proc/mounts 2>/dev/null | grep -qv noexec && \
  df -k /dev/shm | awk 'NR == 2 && $$4 > 4000000 {print "TMPDIR=/dev/shm"}')
TESTS = $(MEMORY) $(BIN)/python -m pytest -n $(WORKERS) --dist loadfile
# One more than the cores of a small machine: many tests wait for a service.
WORKERS ?= 3
FOLDERS := $(shell find analysis collector api dashboards -type d -not -name __pycache__)

# Each process of the tests would compile every module again where the machine says not to keep bytecode.
export PYTHONDONTWRITEBYTECODE =

.PHONY: setup setup-test system demo test compiled wheel coverage lint docs pythons bench lock clean

setup: $(VENV)/.ready

# Folders stand here too: the installed tree has a link for each file, so a new or removed file calls for a new one.
$(VENV)/.ready: $(LOCK) pyproject.toml $(FOLDERS)
	$(PYTHON) -c "import sys; sys.exit(0 if sys.version_info >= (3, 11) else 'Python 3.11 or newer is needed, this is ' + sys.version.split()[0])"
	test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	$(PIP) --require-hashes -r $(LOCK)
	$(PIP) --no-deps --config-settings editable_mode=strict -e .
	touch $@

setup-test: setup $(VENV)/.ready-test

$(VENV)/.ready-test: $(TEST_LOCK) $(VENV)/.ready
	$(PIP) --require-hashes -r $(TEST_LOCK)
	touch $@

# What tests use of the system: broker, time-series server, database, browser, reverse proxy, text layout, PDF reader.
system:
	sh tests/install-services.sh

# The simulator compiles itself with numba, which the service does not need.
$(VENV)/.ready-demo: $(DEMO_LOCK) $(VENV)/.ready
	$(PIP) --require-hashes -r $(DEMO_LOCK)
	touch $@

demo: $(VENV)/.ready-demo
	$(BIN)/fieldfare demo

lint: setup-test
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

# The simulator compiles itself once; workers that begin together would each do it.
compiled: setup-test
	$(BIN)/python -c "import datetime, fieldfare.collector.simulated.plant as p; p.simulate(p.random_plant(1), datetime.date(2025, 1, 6), 1)"

# The wheel in a fresh environment: its demo of one home.
wheel: compiled
	$(MEMORY) $(BIN)/python -m pytest -m slow tests/deploy/test_wheel.py

# Steps that wait for the network, or keep one core busy, run two at a time: the wheel beside mypy.
test:
	$(MAKE) --no-print-directory -j2 setup-test system
	$(MAKE) --no-print-directory -j2 lint compiled wheel
	$(TESTS) --no-loadscope-reorder

# Not a part of `make test`: see DEVELOPERS.md.
coverage: setup-test system
	$(TESTS) --no-loadscope-reorder --cov --cov-report=
	$(BIN)/python -m tests.coverage_floors

# Each Python of PATH and pyenv, or those given in PYTHONS: the wheel and the locked packages in a fresh
# environment, and the demo run there.
pythons: setup-test
	$(BIN)/python -m tests.pythons $(PYTHONS)

# Needs no network; a warning is an error.
docs: setup-test
	$(BIN)/python -m sphinx -W --keep-going --quiet -b html docs docs/_build/html
	@echo docs/_build/html/index.html

bench: setup-test system
	$(TESTS) -m slow
	$(BIN)/python -m tests.pythons $(PYTHONS)
	$(BIN)/python -m tests.benchmarks

lock:
	uv pip compile --universal --python-version 3.11 --extra postgresql --generate-hashes --no-header pyproject.toml -o $(LOCK)
	uv pip compile --universal --python-version 3.11 --extra simulator --generate-hashes --no-header -c $(LOCK) pyproject.toml -o $(DEMO_LOCK)
	uv pip compile --universal --python-version 3.11 --all-extras --group test --group docs --generate-hashes --no-header -c $(LOCK) pyproject.toml -o $(TEST_LOCK)
	echo 'setuptools>=77' | uv pip compile --universal --python-version 3.11 --generate-hashes --no-header - -o $(BUILD_LOCK)

clean:
	rm -rf $(VENV) .coverage build docs/_build docs/handbook .pytest_cache .mypy_cache .ruff_cache
