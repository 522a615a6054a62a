#!/bin/sh
# Goal: systemd understands every line of the unit, and its hardening holds. Method: systemd-analyze, on a copy
# that names a program which is there.
set -eu
analyze=$1
unit=$2
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
sed -e 's|=[^ ]*/underwingd |=/bin/true |' -e 's|=[^ ]*/underwing |=/bin/true |' "$unit" > "$folder/underwingd.service"
said=$("$analyze" verify --man=no "$folder/underwingd.service" 2>&1) || { echo "$said"; exit 1; }
# Complaints about other units of the machine do not concern us.
if echo "$said" | grep underwingd; then exit 1; fi
# Exposure of at most 2.0 out of 10.
"$analyze" security --offline=true --threshold=20 --no-pager "$folder/underwingd.service" | tail -n 2
