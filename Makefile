# Targets that people and machines use; `make` alone lists them. Needs Python 3.11 or newer and make.

PYTHON ?= $(shell command -v python3.11 || command -v python3)
VENV := .venv
BIN := $(VENV)/bin
RUN := $(BIN)/python -m traceability
# Parallel test processes; tests that start browsers and databases gain nothing from more than cores.
JOBS ?= 2
PIP := $(BIN)/python -m pip --disable-pip-version-check install --quiet --require-hashes
COMPILE := $(BIN)/pip-compile --quiet --generate-hashes --strip-extras --no-emit-index-url \
  --no-emit-find-links --no-emit-trusted-host --no-emit-options
# Types first where a mistake could reach a patient: these rooms are checked on their own as well.
PURE := $(wildcard traceability/identifiers traceability/domain) \
  traceability/errors.py traceability/clock.py traceability/settings.py

.DEFAULT_GOAL := help
.PHONY: help setup run demo test test-long check format bench labels torture sbom lock tools pictures

help:
	@sed -n 's/^\([a-z-]*\):.*## /\1\t/p' Makefile | expand -t 12

$(VENV)/bin/python:
	@"$(PYTHON)" -c 'import sys; sys.exit(sys.version_info < (3, 11))' \
	  || { echo "Python 3.11 or newer is needed: make PYTHON=path/to/python3.11" >&2; exit 1; }
	"$(PYTHON)" -m venv $(VENV)

# The stamps are newer than the locks exactly when what is locked is installed.
$(VENV)/installed: requirements.txt | $(VENV)/bin/python
	$(PIP) -r requirements.txt
	@touch $@

$(VENV)/installed-dev: requirements-dev.txt $(VENV)/installed
	$(PIP) -r requirements-dev.txt
	@touch $@

setup: $(VENV)/installed ## make .venv and install what is locked

run: setup ## start the service: tables, the demo if the store is empty, then its address
	@$(RUN) serve --ready-made

demo: setup ## fill an empty store with the invented hospital
	@$(RUN) migrate --quiet
	@$(RUN) demo

tools: $(VENV)/installed-dev
	@.ci/tools

test: tools check ## everything that has to hold: rules, then all tests but the long ones
	$(BIN)/python -m pytest -n $(JOBS) -m "not long and not bench"

test-long: tools check ## the same tests with many more examples
	HYPOTHESIS_PROFILE=long $(BIN)/python -m pytest -n $(JOBS) -m "not bench"

check: $(VENV)/installed-dev ## format, lint, types and who may import whom
	$(BIN)/ruff format --check
	$(BIN)/ruff check
	$(BIN)/mypy --strict $(PURE)
	$(BIN)/mypy
	$(BIN)/lint-imports --no-logo
	$(BIN)/python -m pytest tests/rules/test_rooms.py

format: $(VENV)/installed-dev ## write the code as `check` wants it
	$(BIN)/ruff format
	$(BIN)/ruff check --fix

bench: tools ## measure, and print the figures
	$(BIN)/python -m pytest -m bench -s -p no:xdist

labels: setup ## print a sample of every label to out/, and all in one picture to docs/
	@$(RUN) labels --out out
	@$(RUN) labels --contact docs/pictures/labels.png

torture: tools ## faults on purpose: killed processes, lost networks, full disks
	$(BIN)/python -m pytest -n $(JOBS) -m torture

pictures: tools ## take the README's pictures anew
	$(BIN)/python -m tests.pictures

sbom: $(VENV)/installed-dev ## list what is inside, in CycloneDX form, to out/
	@mkdir -p out
	$(BIN)/cyclonedx-py requirements --output-reproducible --pyproject pyproject.toml \
	  --output-file out/sbom.json requirements.txt

lock: $(VENV)/installed-dev ## write the lock files anew after pyproject.toml changed
	$(COMPILE) -o requirements.txt pyproject.toml
	$(COMPILE) --allow-unsafe --extra dev -c requirements.txt -o requirements-dev.txt pyproject.toml
