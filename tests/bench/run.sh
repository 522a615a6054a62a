#!/usr/bin/env bash
# Runs every benchmark of this folder one after another and prints what it finds, with the machine.
#   tests/bench/run.sh BUILD [engine] [peers] [replay] [pipe] [first-byte] [mqtt]     left out: all of them
# BUILD is a folder configured with -DCMAKE_BUILD_TYPE=Release -DUNDERWING_BENCH=ON and built.
set -euo pipefail
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
build=$(cd "$1" && pwd)
shift
wanted=${*:-engine peers replay pipe first-byte mqtt}
bench=$build/tests/bench
work=$(mktemp -d "${TMPDIR:-/tmp}/underwing-bench.XXXXXX")
pids=()
stop_all() {
  trap - EXIT
  for pid in "${pids[@]}"; do kill "$pid" 2>/dev/null || true; done
  for pid in "${pids[@]}"; do wait "$pid" 2>/dev/null || true; done
  rm -rf "$work"
}
trap stop_all EXIT
trap 'stop_all; exit 130' INT TERM

# CPU time that a process has had, user and system, in microseconds.
cpu_us() {
  local fields
  read -r -a fields <"/proc/$1/stat"
  echo $(((fields[13] + fields[14]) * 1000000 / $(getconf CLK_TCK)))
}
ratio() { awk -v a="$1" -v b="$2" 'BEGIN { printf "%.2f", a / b }'; }
field() { sed -n "s/.*\"$1\":\([0-9]*\).*/\1/p" <<<"$2"; }
# until_true SECONDS COMMAND…
until_true() {
  local deadline=$((SECONDS + $1))
  shift
  until "$@" >/dev/null 2>&1; do
    ((SECONDS < deadline)) || { echo "gave up waiting for: $*" >&2; return 1; }
    sleep 0.1
  done
}
export UNDERWING_PLUGINS=$build/plugins
status() { "$build/underwing" status --socket "$work/socket" --json; }

# start_daemon FARM OPTION…: the daemon's process is $daemon.
start_daemon() {
  local farm=$1
  shift
  rm -rf "$work/state"
  "$build/underwingd" --farm "$farm" --state "$work/state" --socket "$work/socket" "$@" >"$work/daemon.log" 2>&1 &
  daemon=$!
  pids+=("$daemon")
}
stop_process() {
  kill "$1" 2>/dev/null || true
  wait "$1" 2>/dev/null || true
}

run_engine() { "$bench/engine_bench"; }

# The versions of peers are fixed, so that figures of two days can be compared.
run_peers() {
  if [[ ! -x $bench/peers_bench ]]; then
    echo "peers_bench was not built: add 'reference' to UNDERWING_SUBJECTS."
    return
  fi
  mkdir -p "$bench/peers"
  [[ -d $bench/peers/node_modules/json-rules-engine ]] ||
    npm install --silent --no-audit --no-fund --prefix "$bench/peers" json-rules-engine@7.3.1 || echo "npm could not bring json-rules-engine."
  "$bench/peers_bench" "$bench/peers"
}

run_replay() {
  local name readings begun ended
  for name in "two houses, 24 h:2:1" "one house, seven days:1:7"; do
    IFS=: read -r title houses days <<<"$name"
    readings=$("$bench/write_tape" "$work/farm-$days" "$houses" "$days")
    for _ in 1 2 3; do
      begun=$(date +%s.%N)
      TIMEFORMAT="%U s of CPU"
      time "$build/underwing" replay --farm "$work/farm-$days" --json "$work/farm-$days"/tapes/*.zst >"$work/events" || true
      ended=$(date +%s.%N)
      echo "replay, $title: $readings readings in $(ratio "$(awk "BEGIN { print $ended - $begun }")" 1) s, $(wc -l <"$work/events") lines"
    done
  done
}

run_pipe() {
  local farm=$work/pipe readings used begun ended report
  readings=$("$bench/write_tape" "$farm" 1 2 $'plugins:\n  feed: {run: ./feed.sh}\n')
  cp "$here/feed.sh" "$farm/"
  start_daemon "$farm" --time-from-readings
  until_true 120 test -s "$farm/ended"
  used=$(cpu_us "$daemon")
  report=$(status)
  begun=$(<"$farm/begun") ended=$(<"$farm/ended")
  stop_process "$daemon"
  echo "pipe: $readings readings, $(field dropped "$report") of them dropped, $(awk "BEGIN { printf \"%.0f\", $readings / ($ended - $begun) }") a second, $(ratio "$used" "$readings") us of CPU each"
}

# The daemon anew for each alarm, so that no text waits for the one before. The state folder lies where TMPDIR says: its
# disk is part of what is measured.
run_first-byte() {
  local farm=$work/first-byte times=$work/first-byte.ms trials=${UNDERWING_BENCH_ALARMS:-300} i
  mkdir -p "$farm/rules"
  cat >"$farm/farm.yaml" <<END
format: 1
farm: Invented
time_zone: Europe/London
houses:
  house-1: {probes: {air_temperature: [north]}}
plugins:
  timer: {run: ./timer, carries: [text]}
people:
  wren: {text: "+44 7700 900101"}
duty:
  - {who: wren}
call_out:
  urgent:
    - {after: 0 min, tell: on-duty, by: text, then_every: 15 min}
  soon:
    - {after: 0 min, tell: on-duty, by: text, then_every: 60 min}
  note: {daily: "06:30", tell: on-duty, by: text}
packs: [first-byte]
END
  cat >"$farm/rules/first-byte.yaml" <<END
format: 1
pack: first-byte
rules:
  cold:
    about: Measured
    watch: lowest(air_temperature)
    low: 28 °C
    on_delay: 1 s
    priority: urgent
    respond_within: 20 min
    do: Nothing. This is a measurement.
END
  printf '#!/bin/sh\nexec "%s" "%s"\n' "$bench/first_byte" "$times" >"$farm/timer"
  chmod +x "$farm/timer"
  : >"$times"
  for ((i = 1; i <= trials; ++i)); do
    start_daemon "$farm" --trust-clock
    until_true 20 bash -c "(( \$(wc -l <'$times') >= $i ))" || { cat "$work/daemon.log"; return 1; }
    stop_process "$daemon"
  done
  echo "first byte, $trials alarms: $(sort -n "$times" | awk '{ v[NR] = $1 } END { printf "median %.1f, p90 %.1f, p99 %.1f, most %.1f ms", v[int((NR + 1) / 2)], v[int(NR * 0.9 + 0.999)], v[int(NR * 0.99 + 0.999)], v[NR] }') from the reading that completes a delay"
}

start_broker() {
  port=$((20000 + RANDOM))
  printf 'listener %s 127.0.0.1\nallow_anonymous true\npersistence false\nset_tcp_nodelay true\nmax_queued_messages 0\nmax_inflight_messages 0\n' "$port" >"$work/broker.conf"
  "$(command -v mosquitto || echo /usr/sbin/mosquitto)" -c "$work/broker.conf" >"$work/broker.log" 2>&1 &
  broker=$!
  pids+=("$broker")
  until_true 10 bash -c "exec 3<>/dev/tcp/127.0.0.1/$port"
}

houses=10
seconds=${UNDERWING_BENCH_SECONDS:-5}

publish() { read -r sent begun <<<"$("$bench/mqtt_publish" "$port" "$1" "$seconds" "$houses")"; }
per_second() { awk "BEGIN { printf \"%.0f\", $1 / ($2 - $begun) }"; }

start_bare() {
  "$bench/bare_subscriber" "$port" >"$work/bare" &
  subscriber=$!
  pids+=("$subscriber")
  until_true 10 grep -q ready "$work/bare"
}
# Sets bare_got, bare_us (CPU time in all) and bare_ended.
end_bare() {
  wait "$subscriber"
  read -r bare_got bare_us bare_ended <<<"$(tail -1 "$work/bare")"
}

# The daemon is measured as it runs for months: each probe has spoken, and a whole minute has passed since.
start_ours() {
  local farm=$work/live
  "$bench/write_tape" "$farm" "$houses" 0 "plugins:
  climate:
    run: mqtt
    settings:
      broker: mqtt://127.0.0.1:$port
      read: [{topic: \"farm/{house}/climate/{probe}\", measure: air_temperature, value: /temp, unit: °C, time: /ts}]
" >/dev/null
  start_daemon "$farm" --trust-clock
  until_true 20 bash -c "'$build/underwing' status --socket '$work/socket' --json | grep -q 'connected to\|\"state\":\"ready\"'"
  sleep 1
  plugin=$(pgrep -P "$daemon" -f underwing-mqtt)
  begin_ours
  "$bench/mqtt_publish" "$port" $((houses * 120)) 1 "$houses" >/dev/null
  sleep $((62 - 10#$(date +%S)))
}
begin_ours() { daemon_before=$(cpu_us "$daemon") plugin_before=$(cpu_us "$plugin") report_before=$(status); }
# Sets ours_got, ours_us, plugin_us and ours_ended. What the asking costs the daemon is not counted, where there is time to wait.
end_ours() {
  local last=0 quiet=0 report
  sleep "${1:-0}"
  plugin_us=$(($(cpu_us "$plugin") - plugin_before))
  ours_us=$(($(cpu_us "$daemon") - daemon_before + plugin_us))
  while ((quiet < 20)); do
    report=$(status)
    ours_got=$(field readings "$report")
    if [[ $ours_got != "$last" ]]; then quiet=0 ours_ended=$(date +%s.%N); else quiet=$((quiet + 1)); fi
    last=$ours_got
    sleep 0.1
  done
  ours_got=$((ours_got - $(field readings "$report_before") - $(field dropped "$report") + $(field dropped "$report_before")))
}

# The highest rate of one: beyond what the machine can do the publisher waits, so that the rate reached is the highest.
highest() {
  publish 100000
  "end_$1"
  local -n got=$1_got ended=$1_ended
  echo "mqtt, $1 alone: $(per_second "$got" "$ended") a second at most, $((sent - got)) of $sent lost"
}

# At one rate, both at once on one broker: what the machine does to one, it does to the other.
side_by_side() {
  : >"$work/ratios"
  for _ in 1 2 3 4 5; do
    start_bare
    begin_ours
    publish "$1"
    end_bare
    end_ours 1
    echo "mqtt, side by side, $1 a second: bare $((sent - bare_got)) of $sent lost, $(ratio "$bare_us" "$bare_got") us of CPU each; ours $((sent - ours_got)) lost, $(ratio "$ours_us" "$ours_got") us, the plugin $(ratio "$plugin_us" "$ours_got") of it"
    awk "BEGIN { printf \"%.2f\n\", $ours_us / $ours_got / $bare_us * $bare_got }" >>"$work/ratios"
  done
  echo "mqtt, side by side at $1 a second: plugin and daemon cost $(median <"$work/ratios") times a bare subscriber (the middle of: $(sort -n "$work/ratios" | xargs))"
}

median() { sort -n | awk '{ v[NR] = $1 } END { print v[int((NR + 1) / 2)] }'; }

run_mqtt() {
  start_broker
  start_bare
  highest bare
  start_ours
  begin_ours
  highest ours
  side_by_side 20000
  stop_process "$daemon"
  stop_process "$broker"
}

echo "$(grep -m1 'model name' /proc/cpuinfo | cut -d: -f2-), $(nproc) cores, $(uname -sr); load before: $(cut -d' ' -f1-3 /proc/loadavg)"
for one in $wanted; do
  echo "-- $one"
  "run_$one"
done
