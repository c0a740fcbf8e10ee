# The two commands of the README are `make demo` and `make test`. What they run is spelled out there.
PYTHON ?= python3
BIN := .venv/bin
STAMP := .venv/installed

.PHONY: demo test check bench crash fuzz calibrate spark spark-large lineage charts picture lock sbom oldest clean

demo: $(STAMP)
	rm -rf demo
	$(BIN)/gillbook demo demo

# In as many processes as there are cores; a file's tests stay together, for they share what they set up.
test: $(STAMP) check
	$(BIN)/python -m pytest --numprocesses auto --dist loadfile

check: $(STAMP)
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports

bench: $(STAMP)
	$(BIN)/python -m tests.bench
	$(BIN)/python -m tests.bench_weigh
	$(BIN)/python -m tests.bench_next_soak
	$(BIN)/python -m tests.bench_open
	$(BIN)/python -m tests.bench_report_page

# 200 refreshes and 200 loggings killed, Ctrl-C pressed 200 times, at random moments; ten times 40 minutes of old copies
# saved; so many states of the disk after a power cut, for each command; the computer killed, and its
# network cut, so often while a phone sends.
STATES ?= 500
ROUNDS ?= 100
crash: $(STAMP)
	GILLBOOK_CRASH_STATES=$(STATES) $(BIN)/python -m pytest --timeout 0 tests/test_power_cut.py
	GILLBOOK_KILLS=200 $(BIN)/python -m pytest --timeout 0 tests/test_crash.py tests/test_logbook_crash.py \
		tests/test_interrupted.py tests/test_lost_entries.py tests/test_unread_answers.py
	GILLBOOK_KILLS=$(ROUNDS) $(BIN)/python -m pytest --timeout 0 tests/test_open_phone.py -k killed
	GILLBOOK_KILLS=$(ROUNDS) $(BIN)/python -m pytest --timeout 0 tests/test_open_cut.py

# 10,000 fuzz cases, drawn from a number that is told, so that a failure can be repeated.
fuzz: $(STAMP)
	@seed=$${GILLBOOK_FUZZ_SEED:-$$(date +%s)}; echo "GILLBOOK_FUZZ_SEED=$$seed"; \
	GILLBOOK_FUZZ=10000 GILLBOOK_FUZZ_SEED=$$seed $(BIN)/python -m pytest --timeout 0 tests/test_fuzz.py tests/test_fuzz_farms.py \
		tests/test_fuzz_around.py tests/test_part_of_the_farm.py tests/test_many_workers.py \
		--hypothesis-show-statistics

# False alarms and coverage on simulated farms.
calibrate: $(STAMP)
	$(BIN)/python -m tests.calibrate
	$(BIN)/python -m tests.calibrate_adjusted
	$(BIN)/python -m tests.calibrate_sites
	$(BIN)/python -m tests.calibrate_trial
	$(BIN)/python -m tests.calibrate_leaning
	$(BIN)/python -m tests.calibrate_growth
	$(BIN)/python -m tests.calibrate_recipes
	$(BIN)/python -m tests.calibrate_unfinished
	$(BIN)/python -m tests.calibrate_outlook
	$(BIN)/python -m tests.calibrate_plan
	$(BIN)/python -m tests.calibrate_promises

# The measures on Spark, which weighs 300 MB and needs Java: installed here, once, and not by `make test`, which then runs
# these tests too. spark-large: a farm of a million pickings as well.
SPARK_STAMP := .venv/installed-spark
spark: $(SPARK_STAMP)
	$(BIN)/python -m pytest tests/test_spark.py tests/test_spark_cluster.py tests/test_supply.py
spark-large: $(SPARK_STAMP)
	GILLBOOK_SPARK_PICKINGS=1000000 $(BIN)/python -m pytest --timeout 0 tests/test_spark.py -k large

$(SPARK_STAMP): requirements-spark.txt $(BIN)/uv
	$(BIN)/uv pip install --quiet --python $(BIN)/python --require-hashes --requirement requirements-spark.txt
	touch $(SPARK_STAMP)

# The picture of the lineage in DEVELOPERS.md, from the heads of the SQL files.
lineage: $(STAMP)
	PYTHONPATH=tests $(BIN)/python tests/lineage_picture.py

# The script that draws the report's charts, for the Altair that is installed.
charts: $(STAMP)
	PYTHONPATH=tests:. $(BIN)/python tests/charts_script.py

# The picture in the README (needs Chromium).
picture: $(STAMP)
	PYTHONPATH=tests $(BIN)/python tests/picture.py

# Versions with hashes, and no address to fetch them from: requirements.txt to use gillbook, -dev to work on it, -spark to
# ask Spark.
LOCK = $(BIN)/uv pip compile --quiet --universal --generate-hashes --no-emit-index-url --no-header --python-version 3.11
lock: $(BIN)/uv
	$(LOCK) --output-file requirements.txt pyproject.toml
	$(LOCK) --extra dev --constraint requirements.txt --output-file requirements-dev.txt pyproject.toml
	$(LOCK) --extra spark --constraint requirements-dev.txt --output-file requirements-spark.txt pyproject.toml

# What one installs who uses gillbook: each part with its version, licence and hashes' source, as CycloneDX.
SBOM = sbom_out/gillbook.cdx.json
sbom: $(BIN)/uv
	$(PYTHON) -m venv --without-pip --clear sbom_out/env
	$(BIN)/uv pip install --quiet --python sbom_out/env --require-hashes --requirement requirements.txt
	$(BIN)/uv tool run --quiet --from cyclonedx-bom cyclonedx-py environment --pyproject pyproject.toml --mc-type application \
		--gather-license-texts --output-reproducible --output-file $(SBOM) sbom_out/env
	@echo $(SBOM)

# The lowest versions that pyproject.toml allows, in an environment of their own, and the tests that touch each of them.
OLDEST = oldest_out/env/bin/python
oldest: $(BIN)/uv
	mkdir -p oldest_out
	$(BIN)/uv pip compile --quiet --resolution lowest-direct --no-emit-index-url --no-header --no-annotate \
		--output-file oldest_out/requirements.txt pyproject.toml
	$(PYTHON) -m venv --without-pip --clear oldest_out/env
	$(BIN)/uv pip install --quiet --python $(OLDEST) --requirement oldest_out/requirements.txt
	$(BIN)/uv pip install --quiet --python $(OLDEST) --no-deps --editable .
	$(BIN)/uv pip install --quiet --python $(OLDEST) --constraint oldest_out/requirements.txt pytest pytest-timeout \
		hypothesis openpyxl
	$(OLDEST) -m pytest -p no:cacheprovider $(addprefix tests/test_,$(addsuffix .py,$(OLDEST_TESTS)))
OLDEST_TESTS = worked_cases workbooks report_command sheet_command audit_command compare_golden

$(BIN)/uv: $(STAMP)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check uv

$(STAMP): requirements-dev.txt pyproject.toml
	$(PYTHON) -m venv .venv
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes --requirement requirements-dev.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable .
	touch $(STAMP)

clean:
	rm -rf .venv demo dist sbom_out oldest_out
