# make demo   plan the sample route          make test        everything that must hold, quick part
# make bench  the benchmarks                 make test-slow   the exhaustive and random checks
# make fuzz   10,000 damaged files a format  make test-plain  the main job in a plain install
# make lock   pin today's versions
# make test-gis  the GeoPackage opened in QGIS, with Debian's python3-qgis
#
# Needs Python 3.11 or newer with venv, make and git; no root. Another Python: make demo PYTHON=python3.12

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PIP := -m pip --disable-pip-version-check --quiet
PLAIN := .venv-plain
# Read by the tests for the real lines and grids in them, never imported: so without what they depend on.
FILES := libpysal matplotlib momepy wntr
SAMPLE := sample_routes/harbour_dxf.toml sample_routes/harbour_gis.toml

.PHONY: demo test test-gis test-plain test-slow fuzz bench lock picture clean python

demo: $(VENV)/installed
	$(BIN)/tautline demo --out results

test: $(VENV)/installed-dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/pytest -n 2 --dist loadfile --durations=10

# QGIS brings its own Python; the tests talk to that one in a process of its own.
test-gis: $(VENV)/installed-dev
	@/usr/bin/python3 -c 'import qgis.core' 2>/dev/null || { echo "No QGIS for Python here (Debian, Ubuntu: apt install python3-qgis)"; exit 1; }
	$(BIN)/pytest tests/tautline/deliver/test_gis.py

test-slow: $(VENV)/installed-dev
	$(BIN)/pytest -n 2 --dist loadfile -m slow

# Fewer or more: make fuzz MUTANTS=1000
fuzz: $(VENV)/installed-dev
	MUTANTS=$(or $(MUTANTS),10000) $(BIN)/pytest -m slow -k ten_thousand_mutants tests/routeio/test_mutants.py

bench: $(VENV)/installed-dev
	set -e; for file in benchmarks/*.py; do echo "== $$file"; $(BIN)/python $$file; done

# As a user installs it: the wheel, no test tools, pandas 3, run away from the checkout.
test-plain: $(PLAIN)/installed
	$(PLAIN)/bin/python $(PIP) install --no-build-isolation --force-reinstall --no-deps .
	$(PLAIN)/bin/python -c "import pandas, sys; sys.exit(int(pandas.__version__.split('.')[0]) < 3 and 'pandas is older than 3')"
	for job in $(SAMPLE); do (cd $(PLAIN) && bin/tautline plan ../$$job --out ../results/plain-$$(basename $$job .toml)) || exit 1; done
	cd $(PLAIN) && bin/tautline demo --out ../results/plain-demo

$(VENV)/installed: constraints.txt pyproject.toml | python
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python $(PIP) install -c constraints.txt hatchling editables
	$(BIN)/python $(PIP) install -c constraints.txt --no-build-isolation -e .
	touch $@

$(VENV)/installed-dev: $(VENV)/installed
	$(BIN)/python $(PIP) install -c constraints.txt --no-build-isolation -e ".[dev,data,parquet,terrain]"
	$(BIN)/python $(PIP) install -c constraints.txt --no-deps $(FILES)
	touch $@

# The one difference: pandapower, which the tests read networks from, holds pandas below 3; a plain install does not.
$(PLAIN)/installed: constraints.txt pyproject.toml | python
	$(PYTHON) -m venv $(PLAIN)
	sed -e '/^pandas==/d' -e 's/^# plain: //' constraints.txt > $(PLAIN)/constraints.txt
	$(PLAIN)/bin/python $(PIP) install -c $(PLAIN)/constraints.txt hatchling
	$(PLAIN)/bin/python $(PIP) install -c $(PLAIN)/constraints.txt --no-build-isolation .
	touch $@

lock: | python
	rm -rf .venv-lock .venv-lock-plain
	$(PYTHON) -m venv .venv-lock
	.venv-lock/bin/python $(PIP) install hatchling editables -e ".[dev,data,parquet,terrain]"
	.venv-lock/bin/python $(PIP) install --no-deps $(FILES)
	$(PYTHON) -m venv .venv-lock-plain
	.venv-lock-plain/bin/python $(PIP) install .
	( echo "# Versions that the Makefile installs, written by 'make lock'. pandapower (tests only) holds pandas below 3;"; \
	  echo "# the line marked 'plain' stands in its place where the program is installed without the test tools."; \
	  .venv-lock/bin/python -m pip freeze --exclude-editable; \
	  .venv-lock-plain/bin/python -m pip freeze | sed -n 's/^pandas==/# plain: &/p' ) > constraints.txt
	rm -rf .venv-lock .venv-lock-plain

# The picture in the README, from the real page; needs chromium.
picture: demo
	chromium --headless --no-sandbox --disable-gpu --hide-scrollbars --window-size=1280,1430 --screenshot=docs/result.png "file://$(CURDIR)/results/result.html"

clean:
	rm -rf $(VENV) $(PLAIN) .venv-lock .venv-lock-plain results build dist .mypy_cache .pytest_cache .ruff_cache

# Say what is missing before something deep inside fails for it.
python:
	@command -v $(PYTHON) >/dev/null || { echo "No $(PYTHON) here. Install Python 3.11 or newer (Debian, Ubuntu: apt install python3 python3-venv), or say which: make demo PYTHON=/path/to/python"; exit 1; }
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { echo "$(PYTHON) is $$($(PYTHON) --version); tautline needs Python 3.11 or newer. Say which: make demo PYTHON=python3.12"; exit 1; }
	@$(PYTHON) -c 'import venv, ensurepip' 2>/dev/null || { echo "$(PYTHON) has no venv. Install it (Debian, Ubuntu: apt install python3-venv), or say another Python: make demo PYTHON=/path/to/python"; exit 1; }
