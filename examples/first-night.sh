#!/usr/bin/env bash
# The main job in one command: installs what is missing, builds, and plays one night in about a minute.
# A broker, a model of two houses, the daemon, and people whose answers are scripted; the same programs,
# protocol, rules and journal as in service. The farm, its people and its night are invented.
#   UNDERWING_PACE_MS=20   a pause after each minute of the night, for whoever wants to read along
set -euo pipefail
root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
cd "$root"
./.ci/install
cmake -S . -B build -G Ninja -DCMAKE_BUILD_TYPE=Release >/dev/null
cmake --build build --target underwing underwingd underwing-mqtt underwing-model-house underwing-print

work=$(mktemp -d "${TMPDIR:-/tmp}/first-night.XXXXXX")
pids=()
stop_all() {
  trap - EXIT INT TERM
  for pid in "${pids[@]}"; do kill "$pid" 2>/dev/null || true; done
  for pid in "${pids[@]}"; do wait "$pid" 2>/dev/null || true; done
}
trap stop_all EXIT
trap 'stop_all; exit 130' INT TERM

fail() {
  echo "The first night broke off: $1" >&2
  echo "What the programs said lies in $work" >&2
  exit 2
}

# wait_until SECONDS WHAT COMMAND…: until the command succeeds.
wait_until() {
  local deadline=$((SECONDS + $1)) what=$2
  shift 2
  until "$@" 2>/dev/null; do
    ((SECONDS < deadline)) || fail "$what"
    sleep 0.05
  done
}

# A broker of our own on a free loopback port.
broker=$(command -v mosquitto || echo /usr/sbin/mosquitto)
free_port() {
  local port
  for _ in $(seq 50); do
    port=$((20000 + RANDOM))
    (exec 3<>"/dev/tcp/127.0.0.1/$port") 2>/dev/null || { echo "$port"; return; }
  done
  fail "no free port was found"
}
port=$(free_port)
cat >"$work/broker.conf" <<CONF
listener $port 127.0.0.1
allow_anonymous true
persistence false
set_tcp_nodelay true
CONF
"$broker" -c "$work/broker.conf" >"$work/broker.log" 2>&1 &
pids+=($!)
answers() { (exec 3<>"/dev/tcp/127.0.0.1/$port"); }
wait_until 10 "the broker did not start" answers

# The example farm, pointed at that broker, with people who answer by script.
cp -r examples/farm "$work/farm"
sed -i \
  -e "s|broker: mqtt://127.0.0.1:1883|broker: mqtt://127.0.0.1:$port\n      step: {ask: farm/step, answer: farm/settled}|" \
  -e "s|  phone: {run: print}.*|  phone:\n    run: print\n    settings:\n      show: $work/story.txt\n      people:\n        - {who: tomas, contains: COLD, when_told: 1, after: 2 min, say: OK}\n        - {who: tomas, contains: COLD, when_told: 1, after: 12 min, say: HERE}|" \
  "$work/farm/farm.yaml"
./build/underwing check "$work/farm" >"$work/check.txt" || { cat "$work/check.txt"; fail "the example farm does not load"; }

echo "A night at Sandpiper Hollow, played in about a minute. Engine time is the readings' time; nothing here is in real time."
echo
: >"$work/story.txt"
tail -n +1 -f "$work/story.txt" &
pids+=($!)

./build/underwingd --farm "$work/farm" --state "$work/state" --socket "$work/underwing.sock" --time-from-readings \
  --story "$work/story.txt" >"$work/underwingd.log" 2>&1 &
daemon=$!
pids+=("$daemon")
wait_until 20 "the daemon did not start" test -S "$work/underwing.sock"
# The model speaks once the daemon's plugin has subscribed, which its status says.
[[ $(mosquitto_sub -h 127.0.0.1 -p "$port" -t underwing/status -C 1 -W 20) == online ]] || fail "the daemon did not reach the broker"

./build/plugins/underwing-model-house --mqtt "mqtt://127.0.0.1:$port" --settings examples/first-night/house.yaml \
  --start 2026-03-02T20:30:00Z --minutes 615 --step-topics farm/step,farm/settled \
  --pace-ms "${UNDERWING_PACE_MS:-0}" --story "$work/story.txt" >"$work/model.log" 2>&1 &
model=$!
pids+=("$model")
wait "$model" || fail "the model house stopped early"

kill "$daemon"
wait "$daemon" || fail "the daemon did not stop as it should"
sleep 0.2 # tail shows its last lines

tapes=$(printf '%s ' "$work"/state/tapes/*)
cat <<END

The night is over. The journal lies in $work/state/journal.db, the tapes in $work/state/tapes.
Try next, in $root:

  ./build/underwing alarms --state $work/state
  ./build/underwing report spring-house-1 --farm $work/farm --state $work/state
  ./build/underwing replay --farm $work/farm ${tapes% }
  ./build/underwing check examples/farm

Underwing is no certified life-safety or fire alarm. It replaces neither the house's own thermostat back-up nor the
alarm that local rules require.
END
