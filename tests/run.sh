#!/bin/sh
# Sets up what is missing and passes every check and test. On a new Debian machine with Python 3.11 or newer:
#     sh tests/run.sh            everything
#     sh tests/run.sh tests/core one folder (any pytest arguments)
# Real servers are started on loopback by the tests themselves: mosquitto, a mail server, victoria-metrics, Chromium.
set -eu
cd "$(dirname "$0")/.."
# shellcheck source=deploy/setup.sh
. deploy/setup.sh
need_debian mosquitto mosquitto-clients victoria-metrics chromium chromium-driver openssl systemd shellcheck
need_venv "demo,dev"
# shellcheck disable=SC2154  # need_venv sets it

echo "== rules: Ruff, import contracts, types"
"$venv/bin/ruff" check daemon tests
"$venv/bin/lint-imports" --no-cache
"$venv/bin/mypy"
echo "== tests"
if [ $# -eq 0 ]; then set -- tests; fi
exec "$venv/bin/python" -m pytest -p no:cacheprovider "$@"
