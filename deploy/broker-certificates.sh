#!/bin/sh
# Makes what the broker on this box needs for TLS: an authority of your own, and the broker's certificate. As root:
#     sh broker-certificates.sh NAME...     every name and address by which boards reach the box, such as
#                                           sh broker-certificates.sh gillhouse.local 192.168.1.20
#     --root DIR                            works on a system that lies under DIR
# Run again it renews the broker's certificate and keeps the authority, so that boards need nothing new.
# The authority's key stays in /etc/gillhouse/ca, for root alone. Boards get ca.crt, which is no secret.
set -eu

say() { printf '%s\n' "$*" >&2; }
fail() { say "broker-certificates: $*"; exit 2; }

CA_DAYS=7300       # twenty years: a board in a wall outlives a certificate that was made to be safe on the internet
SERVER_DAYS=1825   # five

root="" names=""
while [ $# -gt 0 ]; do
    case $1 in
        --root) [ $# -ge 2 ] || fail "--root wants a directory"; root=$2; shift ;;
        -*) fail "unknown option $1; the head of this file lists them" ;;
        *) names="$names $1" ;;
    esac
    shift
done
[ -n "$names" ] || fail "name the box as boards will: its name, its address, or both"
command -v openssl >/dev/null || fail "openssl is missing: apt-get install openssl"
alt=""
for name in $names localhost 127.0.0.1; do
    printf '%s' "$name" | grep -Eqx '[A-Za-z0-9._:-]+' || fail "'$name' is neither a name nor an address"
    if printf '%s' "$name" | grep -Eq '^[0-9.]+$|:'; then kind=IP; else kind=DNS; fi
    alt="${alt:+$alt,}$kind:$name"
done

ca=$root/etc/gillhouse/ca
certs=$root/etc/mosquitto/certs
umask 077
mkdir -p "$ca"
work=$(mktemp -d "$ca/.new.XXXXXX")
trap 'rm -rf "$work"' EXIT

if [ ! -e "$ca/ca.key" ]; then
    openssl ecparam -name prime256v1 -genkey -noout -out "$work/ca.key"
    openssl req -x509 -new -key "$work/ca.key" -sha256 -days "$CA_DAYS" -subj "/CN=gillhouse farm authority" \
        -addext "basicConstraints=critical,CA:TRUE,pathlen:0" -addext "keyUsage=critical,keyCertSign,cRLSign" \
        -out "$work/ca.crt"
    mv "$work/ca.key" "$ca/ca.key"
    mv "$work/ca.crt" "$ca/ca.crt"
    say "made an authority for this farm: $ca/ca.crt"
fi
openssl ecparam -name prime256v1 -genkey -noout -out "$work/server.key"
openssl req -new -key "$work/server.key" -subj "/CN=gillhouse broker" -out "$work/server.csr"
cat >"$work/extensions" <<END
basicConstraints=critical,CA:FALSE
keyUsage=critical,digitalSignature
extendedKeyUsage=serverAuth
subjectAltName=$alt
END
openssl x509 -req -in "$work/server.csr" -CA "$ca/ca.crt" -CAkey "$ca/ca.key" -sha256 -days "$SERVER_DAYS" \
    -set_serial "0x$(openssl rand -hex 16)" -extfile "$work/extensions" -out "$work/server.crt" 2>/dev/null
openssl verify -CAfile "$ca/ca.crt" "$work/server.crt" >/dev/null || fail "the new certificate does not verify"

mkdir -p "$certs"
chmod 755 "$certs"
install -m 644 "$ca/ca.crt" "$certs/gillhouse-ca.crt"
install -m 644 "$work/server.crt" "$certs/gillhouse-server.crt"
install -m 640 "$work/server.key" "$certs/gillhouse-server.key"
# The broker drops to its own user before it reads its key again.
if [ -z "$root" ] && getent group mosquitto >/dev/null; then
    chgrp mosquitto "$certs/gillhouse-server.key"
fi
chmod 644 "$ca/ca.crt"
say "the broker's certificate is for:$names (until $(openssl x509 -in "$certs/gillhouse-server.crt" -noout -enddate | cut -d= -f2))"
say "give every board this file to trust: $ca/ca.crt; then restart the broker: systemctl restart mosquitto"
