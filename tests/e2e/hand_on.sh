#!/usr/bin/env bash
# A plugin for tests that hands the daemon the lines which a test appends to a file, and keeps what the daemon says.
#   hand_on.sh LINES SAID
exec 3<"$1"
echo '{"jsonrpc":"2.0","method":"hello","params":{"plugin":"hand-on","version":"1","does":["read"]}}'
while true; do
  while IFS= read -r line <&3; do printf '%s\n' "$line"; done
  if read -r -t 0.02 line; then
    printf '%s\n' "$line" >>"$2"
    [[ $line == *'"method":"stop"'* ]] && exit 0
  else
    [ $? -gt 128 ] || exit 0
  fi
done
