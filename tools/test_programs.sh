#!/bin/sh
# Separate programs that some tests start for real: fetched with apt-get when this runs as root on Debian.
set -eu
missing=""
command -v ngspice  >/dev/null 2>&1 || missing="$missing ngspice"
command -v pdftoppm >/dev/null 2>&1 || missing="$missing poppler-utils"
command -v npx      >/dev/null 2>&1 || missing="$missing npm"
command -v chromium >/dev/null 2>&1 || missing="$missing chromium"
command -v mosquitto >/dev/null 2>&1 || [ -x /usr/sbin/mosquitto ] || missing="$missing mosquitto"
ls /usr/lib/postgresql/*/bin/postgres >/dev/null 2>&1 || missing="$missing postgresql"
[ -z "$missing" ] && exit 0
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
    apt-get update -qq
    # shellcheck disable=SC2086
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq $missing >/dev/null
else
    echo "Some tests need these programs, please install them:$missing" >&2
fi
