#!/bin/sh
# Makes the broker's certificates with openssl.
#
#   make-certificates.sh DIR broker NAME...   an authority of your own (once) and the broker's certificate for these
#                                             host names and addresses
#   make-certificates.sh DIR client USER      a client certificate: USER is a site's id, or fieldfare_collector
#
# DIR/ca.key signs: keep it off the broker once the certificates are made.
set -eu
umask 077

[ $# -ge 3 ] || { sed -n '2,9s/^# \{0,1\}//p' "$0" >&2; exit 2; }
dir=$1 what=$2
shift 2
mkdir -p "$dir"
cd "$dir"
days=${CERTIFICATE_DAYS:-825}

if [ ! -f ca.key ]; then
    openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -keyout ca.key -out ca.crt -days 3650 \
        -subj "/CN=fieldfare authority" -addext "basicConstraints=critical,CA:TRUE" \
        -addext "keyUsage=critical,keyCertSign,cRLSign" 2>/dev/null
    chmod 644 ca.crt
fi

sign() { # file, common name, extensions
    printf '%s\n' "$3" > "$1.ext"
    openssl req -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -keyout "$1.key" -out "$1.csr" -subj "/CN=$2" 2>/dev/null
    openssl x509 -req -in "$1.csr" -CA ca.crt -CAkey ca.key -CAcreateserial -out "$1.crt" -days "$days" -extfile "$1.ext" 2>/dev/null
    rm -f "$1.csr" "$1.ext"
    chmod 644 "$1.crt"
}

case $what in
broker)
    names=""
    for name in "$@"; do
        case $name in
        *[!0-9.]*) names="$names,DNS:$name" ;;
        *) names="$names,IP:$name" ;;
        esac
    done
    sign broker "$1" "subjectAltName=${names#,}
extendedKeyUsage=serverAuth"
    ;;
client)
    case $1 in
    *[!a-z0-9_-]* | "") echo "a user's name holds a-z, 0-9, hyphen" >&2; exit 2 ;;
    esac
    sign "$1" "$1" "extendedKeyUsage=clientAuth"
    ;;
*)
    echo "broker or client, not $what" >&2
    exit 2
    ;;
esac
echo "made $dir/$( [ "$what" = broker ] && echo broker || echo "$1" ).crt"
