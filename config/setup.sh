#!/bin/sh
# Set up what the service needs (run) or what its tests need besides (test): system packages, the
# virtual environment, the pinned Python packages. Does nothing the second time.
#   config/setup.sh run|test        PYTHON may name the interpreter
set -eu
cd "$(dirname "$0")/.."
purpose=$1
venv=.venv
uv_version=0.13.9

say() { printf '%s\n' "setup: $*"; }
stop() { printf '%s\n' "setup: $*" >&2; exit 1; }

recent_enough() { "$1" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; }

find_python() {
    for candidate in ${PYTHON:-python3 python3.13 python3.12 python3.11}; do
        if recent_enough "$candidate"; then printf '%s' "$candidate"; return; fi
    done
    stop "Python 3.11 or newer is needed${PYTHON:+; PYTHON=$PYTHON is not}. Set PYTHON to its path."
}

as_root() { if [ "$(id -u)" = 0 ]; then "$@"; else sudo -n "$@"; fi; }

is_installed() { dpkg-query -W -f '${db:Status-Status}' "$1" 2>/dev/null | grep -qx installed; }

# Ubuntu's chromium packages only point to a snap, which needs a running snap daemon.
apt_has_chromium() { [ "$(. /etc/os-release && printf '%s' "$ID")" = debian ]; }

wanted_packages() {
    echo libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core
    [ -x $venv/bin/python ] || "$python" -c 'import ensurepip' 2>/dev/null || echo python3-venv
    if [ "$purpose" = test ]; then
        echo postgresql redis-server poppler-utils
        if apt_has_chromium; then echo chromium; fi
    fi
}

install_system_packages() {
    if ! command -v dpkg-query >/dev/null; then
        say "not a Debian or Ubuntu system: see to these yourself:" $(wanted_packages)
        return
    fi
    missing=
    for package in $(wanted_packages); do
        is_installed "$package" || missing="$missing $package"
    done
    [ -n "$missing" ] || return 0
    by_hand="please run as root: apt-get install --no-install-recommends$missing"
    as_root true 2>/dev/null || stop "system packages are missing; $by_hand"
    say "installing$missing"
    # The tests start private servers: none of these packages may start one of its own.
    as_root sh -c '
        export DEBIAN_FRONTEND=noninteractive
        policy=/usr/sbin/policy-rc.d
        if [ ! -e $policy ]; then
            printf "#!/bin/sh\nexit 101\n" >$policy && chmod +x $policy
            trap "rm -f $policy" EXIT
        fi
        apt-get update -q && apt-get install -q -y --no-install-recommends "$@"
    ' sh $missing >$log 2>&1 || { tail -n 20 $log >&2; stop "apt-get failed; $by_hand"; }
}

make_environment() {
    if [ -x $venv/bin/python ] && recent_enough $venv/bin/python; then return; fi
    say "making $venv with $("$python" --version)"
    "$python" -m venv --clear $venv
}

# Each lock's digest is kept once it is installed, so that a changed lock is seen and nothing else is.
sync_packages() {
    lock=$1
    digest=$(sha256sum <"$lock")
    if [ "$(cat $venv/"$lock".installed 2>/dev/null)" = "$digest" ]; then return; fi
    say "installing $lock"
    [ "$($venv/bin/uv --version 2>/dev/null | cut -d' ' -f2)" = $uv_version ] ||
        $venv/bin/python -m pip install --quiet --disable-pip-version-check uv==$uv_version
    $venv/bin/uv pip install --quiet --python $venv/bin/python --require-hashes -r "$lock"
    printf '%s\n' "$digest" >$venv/"$lock".installed
}

fetch_browser() {
    if apt_has_chromium || [ -e $venv/browser.installed ]; then return; fi
    say "fetching the test browser"
    if as_root true 2>/dev/null; then
        $venv/bin/playwright install --with-deps --only-shell chromium
    else
        $venv/bin/playwright install --only-shell chromium
    fi
    touch $venv/browser.installed
}

log=$(mktemp)
trap 'rm -f $log' EXIT
python=$(find_python)
install_system_packages
make_environment
if [ "$purpose" = test ]; then
    sync_packages requirements-dev.lock
    fetch_browser
else
    sync_packages requirements.lock
fi
