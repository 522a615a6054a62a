#!/usr/bin/env bash
# A probe for the tests: five times a second it reports the value that a file holds, with the time of its own clock.
# Where the file is missing it says nothing, as a probe whose wire is cut.
#   probe.sh FILE house/measure/probe UNIT
file=$1 name=$2 unit=$3
echo '{"jsonrpc":"2.0","method":"hello","params":{"plugin":"probe","version":"1","does":["read"]}}'
while true; do
  read -r -t 0.2 line && { [[ $line == *'"method":"stop"'* ]] && exit 0 || continue; }
  [ $? -gt 128 ] || exit 0
  [[ -r $file ]] && read -r value <"$file" && echo "[{\"n\":\"$name\",\"u\":\"$unit\",\"v\":$value,\"t\":$EPOCHREALTIME}]"
done
