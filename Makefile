# Two commands matter: `make run` and `make test`. Both set up what they need.
PYTHON ?= python3
VENV := .venv
PY := $(VENV)/bin/python
STARTED := $(shell date +%s.%N)
export PIP_DISABLE_PIP_VERSION_CHECK = 1

.PHONY: run test bench faults lock messages pages clean

run: $(VENV)/.run
	@SEALWRIGHT_STARTED=$(STARTED) $(VENV)/bin/sealwright demo

test: $(VENV)/.test debian
	$(VENV)/bin/ruff check src tests bench
	$(VENV)/bin/mypy
	$(PY) -m pytest -n 2 --dist loadgroup

# The long version of the never-lost tests: the server is killed 50 times.
faults: $(VENV)/.test debian
	SEALWRIGHT_KILLS=50 $(PY) -m pytest tests/faults -v

bench: $(VENV)/.test debian
	@for b in bench/bench_*.py; do echo "== $$b"; $(PY) $$b || exit 1; done

$(VENV)/bin/python:
	$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "Sealwright needs Python 3.11 or newer: set PYTHON=...")'
	$(PYTHON) -m venv $(VENV)

# The packages are pinned by hash; the project itself is linked in without fetching anything more.
$(VENV)/.run: requirements/run.txt pyproject.toml | $(VENV)/bin/python
	$(PY) -m pip install -q --require-hashes -r requirements/run.txt
	PATH="$(CURDIR)/$(VENV)/bin:$$PATH" $(PY) -m pip install -q --no-build-isolation --no-deps -e .
	@touch $@

$(VENV)/.test: requirements/test.txt $(VENV)/.run
	$(PY) -m pip install -q --require-hashes -r requirements/test.txt
	@touch $@

# Browser and PDF tools for the tests, where we may install them.
.PHONY: debian
debian:
	@if command -v chromium >/dev/null && command -v pdftoppm >/dev/null; then :; \
	elif [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
	  apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq chromium poppler-utils >/dev/null; \
	else echo "chromium or poppler-utils is missing: the browser tests will be skipped"; fi

lock:
	for s in run test; do uv pip compile -q --universal --generate-hashes --no-emit-index-url --no-emit-find-links --no-header \
	  --python-version 3.11 requirements/$$s.in -o requirements/$$s.txt; done

# Makes the pages and pictures of the documentation that come out of the code.
pages: $(VENV)/.run
	$(PY) docs/reference/make_assess.py
	$(PY) docs/reference/make_sources.py
	$(PY) -m sealwright.cli.reference > docs/reference/command-line.md
	$(PY) docs/pictures/make_pictures.py
	$(VENV)/bin/sealwright score show us-bitter --level 10 --svg docs/pictures/score.svg --replace >/dev/null

# Takes the wearer's sentences out of the code and into the catalogues, untranslated ones empty.
messages: $(VENV)/.run
	$(VENV)/bin/pybabel -q extract -F babel.cfg -k mark -k count:1,2 --sort-output --no-location --omit-header \
	  -o src/sealwright/locale/wearer.pot .
	$(VENV)/bin/pybabel -q update -i src/sealwright/locale/wearer.pot -d src/sealwright/locale -D wearer

clean:
	rm -rf $(VENV) .cache .pytest_cache .mypy_cache .ruff_cache
