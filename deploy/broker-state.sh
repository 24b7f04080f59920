#!/bin/sh
# Before the broker starts: is the state it kept whole? If not, it would not start at all (a power cut can do that).
#     broker-state.sh [DIR]        DIR: where mosquitto keeps mosquitto.db; /var/lib/mosquitto
# A second mosquitto is asked, on a copy, behind a socket in a folder of its own. A damaged file is moved aside, with
# its date, and the broker begins with none: what it still held for sleeping clients is in the file put aside, and
# gone for them. Whatever goes wrong in here, the broker's start is not held up by it: it ends with 0.
set -u

state=${1:-/var/lib/mosquitto}
file=$state/mosquitto.db
[ -s "$file" ] || exit 0
broker=$(command -v mosquitto || echo /usr/sbin/mosquitto)
[ -x "$broker" ] || exit 0
# As a user of its own under root; else as whoever runs this.
trial=$(mktemp -d) || exit 0
trap 'rm -rf "$trial"' EXIT
cp "$file" "$trial/mosquitto.db" || exit 0
[ "$(id -u)" -ne 0 ] || chown -R mosquitto "$trial" 2>/dev/null || :
cat >"$trial/conf" <<END
listener 0 $trial/socket
allow_anonymous false
persistence true
persistence_location $trial/
log_dest stderr
log_type error
END
[ "$(id -u)" -ne 0 ] || id mosquitto >/dev/null 2>&1 || echo "user root" >>"$trial/conf"
[ "$(id -u)" -ne 0 ] || chown mosquitto "$trial/conf" 2>/dev/null || :

"$broker" -c "$trial/conf" >"$trial/said" 2>&1 &
asked=$!
waited=0
while [ ! -S "$trial/socket" ] && kill -0 "$asked" 2>/dev/null && [ "$waited" -lt 100 ]; do
    sleep 0.1
    waited=$((waited + 1))
done
if [ -S "$trial/socket" ] || kill -0 "$asked" 2>/dev/null; then
    kill -9 "$asked" 2>/dev/null   # it read the file, or takes long over it: nothing says that it is damaged
    wait "$asked" 2>/dev/null
    exit 0
fi
wait "$asked"
grep -Fq "Couldn't open database" "$trial/said" || exit 0   # it failed of something else
aside=$file.damaged-$(date -u +%Y%m%dT%H%M%SZ)
mv "$file" "$aside" || exit 0
echo "<3>the broker's state was damaged and is put aside as $aside; it begins without" >&2
# Three of them are kept.
find "$state" -maxdepth 1 -name 'mosquitto.db.damaged-*' | sort -r | tail -n +4 | while IFS= read -r old; do rm -f "$old"; done
exit 0
