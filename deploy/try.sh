#!/bin/sh
# The trial run: an invented farm of three spaces, one night, on simulated boards. Needs Python 3.11 or newer; nothing else.
#     sh deploy/try.sh [--hours 12] [--seed 1] [--out DIR] [--serve]
# Leaves night.html (open it in a browser), night.txt, night.json, farm.yaml and journal.db in ./trial-night or DIR.
set -eu
cd "$(dirname "$0")/.."
# shellcheck source=deploy/setup.sh
. deploy/setup.sh
need_venv demo
# shellcheck disable=SC2154  # need_venv sets it
exec "$venv/bin/gillhouse" demo "$@"
