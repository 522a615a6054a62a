#!/usr/bin/env bash
# A whole plugin: it reports the temperature that a file holds in thousandths of a degree, as Linux gives them.
# In farm.yaml: {run: examples/shell-plugin.sh, arguments: [FILE, house-1/air_temperature/gateway, SECONDS]}
file=${1:-/sys/class/thermal/thermal_zone0/temp} name=${2:-house-1/air_temperature/gateway} every=${3:-10}
echo '{"jsonrpc":"2.0","method":"hello","params":{"plugin":"shell","version":"1","does":["read"]}}'
while true; do
  read -r -t "$every" line && { [[ $line == *'"method":"stop"'* ]] && exit 0 || continue; }
  [ $? -gt 128 ] || exit 0                     # not the time-out of read, so the input has ended
  read -r thousandths <"$file" && echo "[{\"n\":\"$name\",\"u\":\"Cel\",\"v\":${thousandths}e-3}]"
done
