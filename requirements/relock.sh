#!/bin/sh
# Pins anew what pyproject.toml asks for (needs `pip install uv`): run after changing it.
set -eu
cd "$(dirname "$0")/.."
compile="uv pip compile -q --universal --python-version 3.11 --generate-hashes --no-annotate --no-header"
$compile pyproject.toml requirements/build.in --all-extras -o requirements/run.txt
$compile pyproject.toml requirements/build.in --all-extras --group dev -c requirements/run.txt -o requirements/dev.txt
