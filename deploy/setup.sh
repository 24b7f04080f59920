# shellcheck shell=sh
# Sourced by deploy/try.sh and tests/run.sh from the top of a checkout: finds or makes what they need.
#   need_debian PACKAGE...   installs Debian packages that are missing; says what to do where it cannot
#   need_venv EXTRAS         makes .venv with gillhouse and these extras; sets $venv
# Nothing outside the checkout is touched but for Debian packages.

say() { printf '%s\n' "$*" >&2; }

need_python() {
    command -v python3 >/dev/null || { say "python3 is missing. On Debian: apt-get install python3 python3-venv"; exit 1; }
    python3 -c 'import sys; sys.exit(sys.version_info < (3, 11))' || {
        say "Python 3.11 or newer is needed; this is $(python3 --version). Debian 12 or newer carries it."; exit 1; }
}

need_debian() {
    missing=""
    for package in "$@"; do
        [ "$(dpkg-query -W -f '${db:Status-Status}' "$package" 2>/dev/null)" = installed ] || missing="$missing $package"
    done
    [ -n "$missing" ] || return 0
    if ! command -v apt-get >/dev/null; then
        say "This is not Debian or a relative of it. Please install by hand:$missing"; exit 1
    fi
    run=""
    if [ "$(id -u)" -ne 0 ]; then
        command -v sudo >/dev/null || { say "Run this as root, or once: apt-get install$missing"; exit 1; }
        run=sudo
    fi
    say "== installing:$missing"
    # A package's service must not start here: the tests start their own on loopback.
    policy=/usr/sbin/policy-rc.d
    made_policy=""
    [ -e "$policy" ] || { printf '#!/bin/sh\nexit 101\n' | $run tee "$policy" >/dev/null; $run chmod 755 "$policy"; made_policy=1; }
    status=0
    apt_log=$(mktemp)
    # shellcheck disable=SC2086  # a list of words
    { $run env DEBIAN_FRONTEND=noninteractive apt-get update -q &&
      $run env DEBIAN_FRONTEND=noninteractive apt-get install -q -y --no-install-recommends $missing; } >"$apt_log" 2>&1 || status=$?
    [ -z "$made_policy" ] || $run rm -f "$policy"
    [ "$status" -eq 0 ] || { tail -n 15 "$apt_log" >&2; say "apt-get failed; the lines above say why."; exit 1; }
    rm -f "$apt_log"
}

pip_locked() {  # ENVIRONMENT EXTRAS: installs from the lock alone; a file with another hash is refused
    for part in build "$2"; do
        "$1/bin/python" deploy/lock.py pick "$part" >"$1/.locked"
        "$1/bin/python" -m pip install -q --disable-pip-version-check --require-hashes --no-deps --no-build-isolation \
            -r "$1/.locked" >&2
    done
}

need_venv() {
    need_python
    venv="$PWD/.venv"
    stamp="$venv/.made-for-$(printf '%s' "$1" | tr ',' '-')"
    # shellcheck disable=SC3013  # not in POSIX, but in every shell that is sh somewhere
    if [ ! -e "$stamp" ] || [ pyproject.toml -nt "$stamp" ] || [ deploy/requirements.lock -nt "$stamp" ]; then
        python3 -m venv "$venv" 2>/dev/null || { need_debian python3-venv; rm -rf "$venv"; python3 -m venv "$venv"; }
        say "== installing Python packages into .venv (a minute or two the first time)"
        pip_locked "$venv" "$1"
        "$venv/bin/python" -m pip install -q --disable-pip-version-check --no-index --no-deps --no-build-isolation -e . >&2
        touch "$stamp"
    fi
}
