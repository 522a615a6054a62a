#!/usr/bin/env bash
# A plugin for tests that takes every message, keeps it as it came, and says that it is sent.
#   takes_mail.sh TAKEN
echo '{"jsonrpc":"2.0","method":"hello","params":{"plugin":"takes-mail","version":"1","does":["deliver"]}}'
while IFS= read -r line; do
  [[ $line == *'"method":"stop"'* ]] && exit 0
  [[ $line =~ \"delivery\":\"(d-[0-9]+)\" ]] || continue
  printf '%s\n' "$line" >>"$1"
  echo '{"jsonrpc":"2.0","method":"receipt","params":{"delivery":"'"${BASH_REMATCH[1]}"'","outcome":"sent","text":"kept"}}'
done
