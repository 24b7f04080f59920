#!/bin/sh
# Gives a board an account at the broker on this box, or takes it away. As root:
#     sh board-account.sh NAME            makes a password, prints it once
#     sh board-account.sh NAME --own      asks for a password of your own
#     sh board-account.sh NAME --remove   the board gets in no more
#     --root DIR                          works on a system that lies under DIR
# NAME is the board's place in its topics: `room` writes farm/room/..., and nobody else may. Rights: gillhouse.acl.
set -eu

say() { printf '%s\n' "$*" >&2; }
fail() { say "board-account: $*"; exit 2; }

name="" action=make root=""
while [ $# -gt 0 ]; do
    case $1 in
        --own) action=own ;;
        --remove) action=remove ;;
        --root) [ $# -ge 2 ] || fail "--root wants a directory"; root=$2; shift ;;
        -*) fail "unknown option $1; the head of this file lists them" ;;
        *) [ -z "$name" ] || fail "one board at a time: $name or $1"; name=$1 ;;
    esac
    shift
done
# %u in the rights becomes this name: it must not carry the signs that stand for other topics (MQTT 4.7.1).
printf '%s' "$name" | grep -Eqx '[a-z0-9][a-z0-9-]{0,31}' ||
    fail "a board's name is 1 to 32 small letters, digits or '-'; '$name' is not"
case $name in
    box | gillhouse | gillhouse-*) fail "'$name' is the box's own name; call the board after its place" ;;
    alerts) fail "farm/alerts/ carries the calls to people; call the board after its place" ;;
esac
passwords=$root/etc/mosquitto/gillhouse.passwd
[ -e "$passwords" ] || fail "$passwords is missing: run install.sh first, with the broker here"
command -v mosquitto_passwd >/dev/null || fail "mosquitto_passwd is missing: apt-get install mosquitto"
umask 077
new=$(mktemp "$root/etc/mosquitto/.gillhouse-account.XXXXXX")
trap 'rm -f "$new" "$new.line"' EXIT

password=""
case $action in
    make) password=$(od -An -N18 -tx1 /dev/urandom | tr -d ' \n') ;;
    own)
        printf 'Password for %s (12 characters or more): ' "$name" >&2
        stty -echo 2>/dev/null || :
        IFS= read -r password
        stty echo 2>/dev/null || :
        say ""
        [ "${#password}" -ge 12 ] || fail "too short: take 12 characters or more"
        case $password in *:*) fail "a ':' cannot stand in it" ;; esac ;;
esac

grep -v "^$name:" "$passwords" >"$new" || :
if [ "$action" = remove ]; then
    cmp -s "$new" "$passwords" && fail "there is no account $name"
else
    # Through a file of our own and hashed in place: on the command line everybody could read it.
    printf '%s:%s\n' "$name" "$password" >"$new.line"
    mosquitto_passwd -U "$new.line"
    cat "$new.line" >>"$new"
fi
chown --reference="$passwords" "$new"
chmod --reference="$passwords" "$new"
mv "$new" "$passwords"

case $action in
    make) say "account $name; its password, shown this once:"; printf '%s\n' "$password" ;;
    own) say "account $name has your password" ;;
    remove) say "account $name is gone; a board that is connected stays so until it connects anew" ;;
esac
if [ -z "$root" ] && [ -d /run/systemd/system ] && systemctl is-active -q mosquitto; then
    # It reads passwords and rights again; nobody is cut off. (Its unit's own reload needs /bin/kill, not everywhere.)
    systemctl kill --kill-who=main --signal=HUP mosquitto || say "now restart the broker: systemctl restart mosquitto"
fi
