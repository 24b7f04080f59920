#!/bin/sh
# Installs gillhouse on Debian 12 or newer, or a relative of it (Raspberry Pi OS, Armbian, Ubuntu), from a clone. As root:
#
#     sh deploy/install.sh                      asks five questions, then does all that docs/how-to/install.md lists
#     sh deploy/install.sh --dry-run            says every step and changes nothing
#     sh deploy/install.sh --yes [answers]      asks nothing
#
# Run again it upgrades: the new version is tried on your config and on a copy of your journal first; where its
# start fails, the old one is put back. What you have written yourself is never overwritten.
#
# Answers:  --farm NAME  --zone Europe/Rome  --crop grey-oyster  --broker here|HOST  --address NAME|IP (of the box, for
#           the boards; several with commas)  --boards room,tent (accounts to make)
# More:     --backup-to DIR   where the nightly copies go (another medium is better)     --gpio  --serial  --extras LIST
#           --no-start        install, start nothing     --root DIR   install into a system that lies under DIR
# Back:     --rollback        the version before this one   --old-journal  with the journal as it was before the upgrade
# Away:     --uninstall       everything but your config, your journal and its copies    --delete-data  these too
set -eu

here=$(cd "$(dirname "$0")" && pwd)
source_dir=$(dirname "$here")
# shellcheck source=deploy/setup.sh
. "$here/setup.sh"

PREFIX=/opt/gillhouse
CONFIG=/etc/gillhouse
STATE=/var/lib/gillhouse
COPIES=/var/backups/gillhouse
UNITS=/etc/systemd/system
STAYS_UP_S=20      # so long a new version must stay up before the old one is let go of

fail() { say "install: $*"; exit 2; }

# ---- what is wanted

root="" dry="" yes="" start=yes action=install
farm="" zone="" crop="" broker="" address="" boards="" backup_to="" gpio="" serial="" extras="" delete_data=""
with_old_journal="" changes=""

parse() {
    while [ $# -gt 0 ]; do
        case $1 in
            --dry-run) dry=yes ;;
            --yes) yes=yes ;;
            --no-start) start="" ;;
            --gpio) gpio=yes ;;
            --serial) serial=yes ;;
            --rollback) action=rollback ;;
            --uninstall) action=uninstall ;;
            --delete-data) delete_data=yes ;;
            --old-journal) with_old_journal=yes ;;
            -h | --help) sed -n '2,/^set -eu/{/^set -eu/!{s/^# \{0,1\}//;p;};}' "$0"; exit 0 ;;
            --farm | --zone | --crop | --broker | --address | --boards | --backup-to | --extras | --root)
                [ $# -ge 2 ] || fail "$1 wants a value; see --help"
                case $1 in
                    --farm) farm=$2 ;;
                    --zone) zone=$2 ;;
                    --crop) crop=$2 ;;
                    --broker) broker=$2 ;;
                    --address) address=$(printf '%s' "$2" | tr ',' ' ') ;;
                    --boards) boards=$(printf '%s' "$2" | tr ',' ' ') ;;
                    --backup-to) backup_to=$2 ;;
                    --extras) extras=$2 ;;
                    --root) root=${2%/} ;;
                esac
                shift ;;
            *) fail "unknown option $1; see --help" ;;
        esac
        shift
    done
    [ -z "$delete_data" ] || [ "$action" = uninstall ] || fail "--delete-data goes with --uninstall alone"
    [ -z "$root" ] || [ -d "$root" ] || fail "--root $root: there is no such directory"
    [ -n "$dry" ] || [ -n "$root" ] || [ "$(id -u)" -eq 0 ] || fail "run this as root (sudo sh deploy/install.sh)"
    [ -z "$root" ] || start=""
    for word in "$zone" "$crop" "$broker" "$address" "$boards" "$backup_to" "$extras"; do
        # They go into files and commands: no sign that means something there.
        case $word in *[!A-Za-z0-9_./:,\ +-]*) fail "'$word' holds a sign that cannot be used here" ;; esac
    done
    plain_name
}

plain_name() {  # the farm's name stands between quotes in the config
    if printf '%s' "$farm" | grep -q '["\\]'; then fail "a farm's name without quotes and backslashes, please: $farm"; fi
}

# ---- doing, or saying what would be done

step() { if [ -n "$dry" ]; then say "would: $*"; else say "== $*"; fi; }

run() {  # COMMAND... : done, or only shown
    if [ -n "$dry" ]; then say "       $*"; else "$@"; fi
}

managed() { [ -z "$root" ] && [ -d /run/systemd/system ]; }   # a service manager runs here

ours() {  # FILE OWNER:GROUP : whose it is, where these users are known
    [ -z "$root" ] || return 0
    run chown "$2" "$1"
}

folder() {  # DIR MODE OWNER:GROUP
    if [ -d "$root$1" ] && [ "$(stat -c %a "$root$1")" = "${2#0}" ]; then :; else
        step "folder $1, mode $2, of $3"
        run install -d -m "$2" "$root$1"
    fi
    ours "$root$1" "$3"
}

put() {  # SOURCE TARGET MODE OWNER:GROUP : a file of ours; one that somebody has changed is left, ours laid beside it
    target=$root$2
    mark=$root$PREFIX/deploy/put$2
    if [ -e "$target" ] && cmp -s "$1" "$target"; then
        [ -n "$dry" ] || { mkdir -p "$(dirname "$mark")"; cp "$1" "$mark"; }
        return 0
    fi
    if [ -e "$target" ] && { [ ! -e "$mark" ] || ! cmp -s "$target" "$mark"; }; then
        step "$2 is not as we left it: it stays; what comes with this version lies beside it as $2.new"
        run install -m "$3" "$1" "$target.new"
        return 0
    fi
    step "write $2"
    run mkdir -p "$(dirname "$target")" "$(dirname "$mark")"
    run install -m "$3" "$1" "$target"
    run cp "$1" "$mark"
    ours "$target" "$4"
}

link() {  # TARGET NAME : in one move, so that there is never none
    [ "$(readlink "$root$2" 2>/dev/null)" != "$1" ] || return 0
    step "$2 -> $1"
    run mkdir -p "$(dirname "$root$2")"
    run ln -sfn "$1" "$root$2.next"
    run mv -Tf "$root$2.next" "$root$2"
}

as_service() {  # COMMAND... : as the service's user
    if [ "$(id -u)" -eq 0 ] && [ -z "$root" ]; then runuser -u gillhouse -- "$@"; else "$@"; fi
}

# ---- the five questions

ask() {  # QUESTION DEFAULT : the answer on stdout
    printf '%s [%s] ' "$1" "$2" >&2
    IFS= read -r answer || answer=""
    printf '%s' "${answer:-$2}"
}

this_zone() { cat "$root/etc/timezone" 2>/dev/null || readlink "$root/etc/localtime" 2>/dev/null | sed -n 's|.*zoneinfo/||p'; }

questions() {
    zone_here=$(this_zone)
    crops=$(for one in "$source_dir"/config/species/*.yaml; do basename "$one" .yaml; done | tr '\n' ' ')
    if [ -z "$yes" ] && [ -t 0 ] && [ ! -e "$root$CONFIG/farm.yaml" ]; then
        [ -n "$farm" ] || farm=$(ask "1/5 What is the farm called?" "My farm")
        [ -n "$zone" ] || zone=$(ask "2/5 Which time zone is it in?" "${zone_here:-UTC}")
        [ -n "$crop" ] || { say "    $crops"; crop=$(ask "3/5 What grows in your first room?" grey-oyster); }
        [ -n "$broker" ] || broker=$(ask "4/5 Shall the boards' broker run on this box ('here'), or which machine has it?" here)
        [ "$broker" != here ] || [ -n "$address" ] ||
            address=$(ask "5/5 By which name or address will your boards reach this box?" "$(uname -n).local")
    fi
    farm=${farm:-My farm} zone=${zone:-${zone_here:-UTC}} crop=${crop:-grey-oyster} broker=${broker:-here}
    address=${address:-$(uname -n).local} backup_to=${backup_to:-$COPIES}
    case " $crops" in *" $crop "*) ;; *) fail "no species '$crop'; there are: $crops" ;; esac
    plain_name
    [ -e "/usr/share/zoneinfo/$zone" ] || [ ! -d /usr/share/zoneinfo ] || fail "no time zone '$zone'; write it like Europe/Rome"
}

skeleton() {  # the first farm.yaml, on stdout
    if [ "$broker" = here ]; then where="127.0.0.1"; else where=$broker; fi
    cat <<END
# Your farm, as install.sh wrote it. Correct the figures, add your boards and relays, and see what is understood:
#     sudo -u gillhouse gillhouse check --config $CONFIG/farm.yaml
# Every key: docs/reference/config.md. An example to copy from: config/farm.yaml. To find your boards: gillhouse listen
farm:
  name: "$farm"
  zone: $zone
  advise_only: yes             # nothing is switched until you say no, relay by relay

broker:
  host: $where
END
    if [ "$broker" = here ]; then printf '  username: box\n  password_file: secrets/broker\n'; else
        printf '  # Its name and password for this box: the password alone in secrets/broker, owner gillhouse, mode 600.\n'
        printf '  # username: box\n  # password_file: secrets/broker\n'
        printf '  # ca_file: ca.crt            # if its certificate is from an authority of your own\n'
    fi
    cat <<END

spaces:
  room:
    name: Room
    kind: room                 # room, tent, open, spawn run, cold store
    walk_in: yes               # people go in: the CO2 limits for people hold, whatever the crop likes
    volume_m3: 30              # correct this: length x width x height
    crop: {species: $crop, stage: fruiting, kg: 100}      # and this: kg of blocks, wet
    light: {start: 08:00}

sensors: {}
relays: {}
END
}

# ---- the parts

packages() {
    wanted="python3 python3-venv"
    [ "$broker" != here ] || wanted="$wanted mosquitto mosquitto-clients openssl"
    if [ -n "$root" ]; then
        say "   (under --root no package is installed; the system there needs: $wanted)"
    elif [ -n "$dry" ]; then
        step "Debian packages, where missing: $wanted"
    else
        # shellcheck disable=SC2086  # a list of words
        need_debian $wanted
    fi
    need_python
}

user() {
    if [ -n "$root" ]; then
        wish=$(mktemp)
        printf 'u gillhouse - "gillhouse" %s\n' "$STATE" >"$wish"
        put "$wish" /usr/lib/sysusers.d/gillhouse.conf 644 root:root
        {
            printf 'z %s 0750 root gillhouse\nz %s/farm.yaml 0640 root gillhouse\n' "$CONFIG" "$CONFIG"
            printf 'Z %s/secrets - gillhouse gillhouse\nZ %s - gillhouse gillhouse\n' "$CONFIG" "$STATE"
            printf 'Z %s - gillhouse gillhouse\n' "$COPIES"
            [ "$broker" != here ] || printf 'z /etc/mosquitto/gillhouse.* 0640 root mosquitto\nz /etc/mosquitto/certs/gillhouse-server.key 0640 root mosquitto\n'
        } >"$wish"
        put "$wish" /usr/lib/tmpfiles.d/gillhouse.conf 644 root:root
        rm -f "$wish"
        return 0
    fi
    if id gillhouse >/dev/null 2>&1; then return 0; fi
    step "user gillhouse, of the system, who cannot log in"
    run useradd --system --user-group --home-dir "$STATE" --no-create-home --shell /usr/sbin/nologin gillhouse
}

folders() {
    folder "$PREFIX" 0755 root:root
    folder "$PREFIX/versions" 0755 root:root
    folder "$CONFIG" 0750 root:gillhouse
    folder "$CONFIG/secrets" 0700 gillhouse:gillhouse
    folder "$CONFIG/ca" 0700 root:root
    folder "$STATE" 0750 gillhouse:gillhouse
    folder "$COPIES" 0750 gillhouse:gillhouse
}

this_version() {  # the number, and a mark of what the source holds: the same source is never built twice
    number=$(sed -n 's/^version = "\(.*\)"/\1/p' "$source_dir/pyproject.toml" | head -n 1)
    mark=$(cd "$source_dir" && find daemon config pyproject.toml deploy/requirements.lock -type f ! -name '*.pyc' -print0 |
        LC_ALL=C sort -z | xargs -0 sha256sum | sha256sum | cut -c 1-10)
    printf '%s-%s' "$number" "$mark${extras:+-$(printf '%s' "$extras" | tr ',' '-')}"
}

build() {  # the version's own folder, with an environment of its own; half a one is begun again
    into=$root$PREFIX/versions/$version
    if [ -e "$into/.complete" ]; then say "   version $version is there already"; return 0; fi
    step "version $version, in an environment of its own under $PREFIX/versions"
    run rm -rf "$into"
    run python3 -m venv "$into"
    for part in build "$extras"; do  # from the lock alone: a file with another hash is refused
        [ -n "$dry" ] || "$into/bin/python" "$source_dir/deploy/lock.py" pick "$part" >"$into/.locked"
        run "$into/bin/python" -m pip install -q --disable-pip-version-check --no-cache-dir --require-hashes --no-deps \
            --no-build-isolation -r "$into/.locked"
    done
    run "$into/bin/python" -m pip install -q --disable-pip-version-check --no-cache-dir --no-index --no-deps \
        --no-build-isolation "$source_dir"
    [ -z "$dry" ] || return 0
    if [ -n "$root" ]; then
        # It is to run where DIR is the root: its programs must name that place, not this one.
        grep -IrlF "$root$PREFIX" "$into/bin" "$into/pyvenv.cfg" | while IFS= read -r file; do
            sed -i "s|$root$PREFIX|$PREFIX|g" "$file"
        done
    fi
    "$into/bin/python" -m compileall -q "$into/lib" || :
    chmod -R go=rX "$into"
    touch "$into/.complete"
}

units() {
    for unit in gillhouse.service gillhouse-backup.service gillhouse-backup.timer; do
        put "$here/$unit" "$UNITS/$unit" 644 root:root
    done
    put "$here/journald-gillhouse.conf" /etc/systemd/journald.conf.d/gillhouse.conf 644 root:root
    [ -z "$gpio" ] || put "$here/gillhouse-gpio.conf" "$UNITS/gillhouse.service.d/gpio.conf" 644 root:root
    [ -z "$serial" ] || put "$here/gillhouse-serial.conf" "$UNITS/gillhouse.service.d/serial.conf" 644 root:root
    for file in install.sh setup.sh board-account.sh broker-certificates.sh broker-state.sh; do
        put "$here/$file" "$PREFIX/deploy/$file" 755 root:root
    done
    [ "$backup_to" = "$COPIES" ] || keep "$CONFIG/backup.env" 644 root:root "BACKUP_TO=$backup_to"
}

keep() {  # TARGET MODE OWNER:GROUP TEXT : written once, yours from then on
    if [ -e "$root$1" ]; then return 0; fi
    step "write $1"
    if [ -n "$dry" ]; then return 0; fi
    (umask 077; printf '%s\n' "$4" >"$root$1")
    chmod "$2" "$root$1"
    ours "$root$1" "$3"
}

secret() { od -An -N24 -tx1 /dev/urandom | tr -d ' \n'; }

config() {
    if [ -e "$root$CONFIG/farm.yaml" ]; then say "   $CONFIG/farm.yaml is yours and stays as it is"; else
        keep "$CONFIG/farm.yaml" 640 root:gillhouse "$(skeleton)"
    fi
    # Made here and nowhere else: no two boxes have the same.
    if [ "$broker" = here ]; then keep "$CONFIG/secrets/broker" 600 gillhouse:gillhouse "$(secret)"; fi
}

the_broker() {
    [ "$broker" = here ] || { say "   the broker is on $broker: see docs/how-to/broker.md for its side"; return 0; }
    run mkdir -p "$root/etc/mosquitto/conf.d"
    passwords=$root/etc/mosquitto/gillhouse.passwd
    put "$here/mosquitto-gillhouse.acl" /etc/mosquitto/gillhouse.acl 640 root:mosquitto
    put "$here/mosquitto-state.conf" "$UNITS/mosquitto.service.d/gillhouse.conf" 644 root:root
    if [ ! -e "$passwords" ]; then
        step "the box's account at the broker, in /etc/mosquitto/gillhouse.passwd"
        if [ -z "$dry" ]; then
            (umask 077; printf 'box:%s\n' "$(cat "$root$CONFIG/secrets/broker")" >"$passwords.new")
            mosquitto_passwd -U "$passwords.new"
            chmod 640 "$passwords.new"
            ours "$passwords.new" root:mosquitto
            mv "$passwords.new" "$passwords"
        fi
    fi
    under=""
    [ -z "$root" ] || under="--root $root"
    if [ ! -e "$root/etc/mosquitto/certs/gillhouse-server.crt" ]; then
        step "an authority of your own, and the broker's certificate for: $address"
        # shellcheck disable=SC2086  # lists of words
        run sh "$here/broker-certificates.sh" $under $address
    fi
    put "$here/mosquitto-gillhouse.conf" /etc/mosquitto/conf.d/gillhouse.conf 644 root:root
    for board in $boards; do
        if [ -e "$passwords" ] && grep -q "^$board:" "$passwords"; then continue; fi
        step "an account for the board $board; its password stands in $CONFIG/ca/board-$board.password"
        if [ -z "$dry" ]; then
            # shellcheck disable=SC2086
            (umask 077; sh "$here/board-account.sh" $under "$board" >"$root$CONFIG/ca/board-$board.password")
        fi
    done
}

# ---- putting a version in force, and back

of() {  # VERSION COMMAND... : the program of that version, as the service's user; under --root by that root's own Python
    this=$1
    shift
    if [ -n "$root" ]; then "$root$PREFIX/versions/$this/bin/python" -m gillhouse "$@"; else
        as_service "$PREFIX/versions/$this/bin/gillhouse" "$@"
    fi
}

tried() {  # VERSION : would it run on this config and on a copy of this journal? Sets `changes` if it would change it
    step "try version $1 on your config and on a copy of your journal"
    changes=""
    [ -z "$dry" ] || return 0
    found=0
    told=$(of "$1" ready --config "$root$CONFIG/farm.yaml" --state "$root$STATE") || found=$?
    [ -z "$told" ] || say "$told"
    case $told in *"would get the schema steps"*) changes=yes ;; esac
    return "$found"
}

came_up() {  # did the service start, and does it stay?
    systemctl restart gillhouse.service || return 1
    pid=$(systemctl show -P MainPID gillhouse.service)
    passed=0
    while [ "$passed" -lt "$STAYS_UP_S" ]; do
        sleep 1
        passed=$((passed + 1))
        # Another process number is a crash that the service manager has mended meanwhile.
        [ "$(systemctl show -P MainPID gillhouse.service)" = "$pid" ] && systemctl is-active -q gillhouse.service || return 1
    done
}

in_force() {  # VERSION
    old=$(basename "$(readlink "$root$PREFIX/current" 2>/dev/null || :)")
    if [ "$old" != "$1" ]; then
        if [ -n "$old" ]; then
            if [ -n "$changes" ] && managed && [ -n "$start" ]; then
                # The copy is for the way back: nothing may be written after it.
                step "stop the service: the new version changes the journal"
                run systemctl stop gillhouse.service
            fi
            keep_journal "$old" || {
                if [ -n "$changes" ] && managed && [ -n "$start" ]; then systemctl start gillhouse.service || :; fi
                fail "no copy of the journal could be made, so nothing was changed; $old stays in force"
            }
        fi
        [ -z "$old" ] || link "versions/$old" "$PREFIX/previous"
        link "versions/$1" "$PREFIX/current"
    fi
    link "$PREFIX/current/bin/gillhouse" /usr/local/bin/gillhouse
    if [ -z "$start" ] || ! managed; then return 0; fi
    step "start the service, and see that it stays up for $STAYS_UP_S s"
    run systemctl daemon-reload
    run systemctl enable -q gillhouse.service gillhouse-backup.timer
    run systemctl try-restart systemd-journald.service
    if [ "$broker" = here ]; then
        run systemctl enable -q mosquitto.service
        run systemctl restart mosquitto.service ||
            fail "the broker does not start; see: journalctl -u mosquitto. Then run this again"
    fi
    run systemctl start gillhouse-backup.timer
    [ -z "$dry" ] || return 0
    if came_up; then return 0; fi
    say "version $1 did not stay up; the last it said:"
    journalctl -u gillhouse.service -n 8 --no-pager -o cat >&2 || :
    if [ -z "$old" ] || [ "$old" = "$1" ]; then fail "the service does not run; see: journalctl -u gillhouse"; fi
    back_to "$old"
    fail "version $1 could not be put in force; $old runs again"
}

keep_journal() {  # VERSION : a copy of the journal as VERSION reads it, for the way back
    if [ ! -e "$root$STATE/journal.db" ]; then return 0; fi
    step "a verified copy of the journal, in $COPIES/before-upgrade"
    if [ -n "$dry" ]; then return 0; fi
    of "$1" backup --state "$root$STATE" --to "$root$COPIES/before-upgrade" --keep 2
}

old_journal() {  # VERSION : the journal as it was before the upgrade
    copy=$(find "$root$COPIES/before-upgrade" -name 'journal-*.db' 2>/dev/null | sort | tail -n 1)
    [ -n "$copy" ] || fail "the journal was changed by the newer version, and there is no copy in $COPIES/before-upgrade"
    say "== the journal as it was before the upgrade; the newer one is put aside"
    of "$1" restore "$copy" --state "$root$STATE"
}

back_to() {  # VERSION : in force again; the journal as it was, only if this version cannot read it as it is now
    say "== back to version $1"
    systemctl stop gillhouse.service || :
    link "versions/$1" "$PREFIX/current"
    tried "$1" || old_journal "$1"
    came_up || fail "version $1 does not start either; see: journalctl -u gillhouse"
}

tidy() {  # versions that are neither in force nor the one before
    for path in "$root$PREFIX"/versions/*; do
        one=$(basename "$path")
        case $one in "$(basename "$(readlink "$root$PREFIX/current")")" | '*') continue ;; esac
        [ "$one" != "$(basename "$(readlink "$root$PREFIX/previous" 2>/dev/null || :)")" ] || continue
        step "remove version $one, older than the one before"
        run rm -rf "$path"
    done
}

# ---- what was asked for

install_all() {
    questions
    packages
    user
    folders
    version=$(this_version)
    build
    config
    the_broker
    units
    tried "$version" || fail "version $version is not put in force: correct what stands above, then run this again"
    in_force "$version"
    [ -n "$dry" ] || tidy
    say ""
    if [ -n "$dry" ]; then say "Nothing was changed."; return 0; fi
    say "Version $version is in force. Next: $CONFIG/farm.yaml (your boards: gillhouse listen), docs/how-to/install.md"
    say "CAUTION: mains near water. Read docs/how-to/wiring-and-safety.md before anything is wired."
}

rollback() {
    old=$(basename "$(readlink "$root$PREFIX/previous" 2>/dev/null || :)")
    now=$(basename "$(readlink "$root$PREFIX/current" 2>/dev/null || :)")
    if [ -z "$old" ] || [ ! -e "$root$PREFIX/versions/$old/.complete" ]; then fail "there is no version before $now"; fi
    step "back to version $old; $now stays as the one before"
    if ! tried "$old"; then
        [ -n "$with_old_journal" ] || fail "version $old cannot read the journal, see above. To take the copy made before \
the upgrade, and leave all that was recorded since aside: --rollback --old-journal"
    fi
    if [ -n "$dry" ]; then return 0; fi
    if managed && [ -n "$start" ]; then back_to "$old"; else
        tried "$old" || old_journal "$old"
        link "versions/$old" "$PREFIX/current"
    fi
    link "versions/$now" "$PREFIX/previous"
}

uninstall() {
    step "stop the service and take it away"
    if managed; then
        run systemctl disable -q --now gillhouse.service gillhouse-backup.timer || :
    fi
    for file in "$UNITS/gillhouse.service" "$UNITS/gillhouse-backup.service" "$UNITS/gillhouse-backup.timer" \
        "$UNITS/gillhouse.service.d" "$UNITS/mosquitto.service.d/gillhouse.conf" /usr/local/bin/gillhouse \
        /etc/systemd/journald.conf.d/gillhouse.conf /etc/mosquitto/conf.d/gillhouse.conf "$PREFIX" \
        /usr/lib/sysusers.d/gillhouse.conf /usr/lib/tmpfiles.d/gillhouse.conf; do
        if [ -e "$root$file" ] || [ -L "$root$file" ]; then
            step "remove $file"
            run rm -rf "$root$file"
        fi
    done
    if managed; then
        run systemctl daemon-reload
        if systemctl is-active -q mosquitto; then run systemctl restart mosquitto; fi
    fi
    mine="$CONFIG $STATE $COPIES /etc/mosquitto/gillhouse.passwd /etc/mosquitto/gillhouse.acl"
    mine="$mine /etc/mosquitto/certs/gillhouse-ca.crt /etc/mosquitto/certs/gillhouse-server.crt /etc/mosquitto/certs/gillhouse-server.key"
    if [ -z "$delete_data" ]; then
        say "Kept: $mine"
        say "To delete these too: install.sh --uninstall --delete-data"
        return 0
    fi
    for file in $mine; do
        [ ! -e "$root$file" ] || { step "delete $file"; run rm -rf "$root$file"; }
    done
    if [ -z "$root" ] && id gillhouse >/dev/null 2>&1; then step "delete the user gillhouse"; run userdel gillhouse; fi
}

parse "$@"
case $action in
    install) install_all ;;
    rollback) rollback ;;
    uninstall) uninstall ;;
esac
