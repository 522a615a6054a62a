#!/usr/bin/env bash
# Installs what is missing, builds, and runs all tests. Ends with a line "N passed, N failed".
#   UNDERWING_WERROR=ON          warnings are errors
#   UNDERWING_SANITIZED_TOO=ON   the tests run a second time under address and undefined-behaviour sanitizers
#   UNDERWING_FUZZ_SECONDS=30    each fuzz target runs for so long (clang); it counts as one test
set -euo pipefail
root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
cd "$root"
./.ci/install

passed=0
failed=0

# build_and_test FOLDER TARGET -- CMAKE-ARGUMENTS…
build_and_test() {
  local folder=$1 target=$2
  shift 3
  cmake -S . -B "$folder" -G Ninja "$@" >"$folder.configure.log" 2>&1 || { cat "$folder.configure.log"; exit 2; }
  rm -f "$folder.configure.log"
  cmake --build "$folder" --target "$target"
  local results=$folder/tests.xml
  rm -f "$results"
  ctest --test-dir "$folder" --output-on-failure --no-tests=error -j "$(nproc)" --output-junit tests.xml || true
  # The counts stand in the file's first element, each an attribute of its own.
  count() { grep -m 1 -o -E "\\b$1=\"[0-9]+\"" "$results" | tr -dc 0-9; }
  local total bad skipped
  total=$(count tests) bad=$(count failures) skipped=$(count skipped)
  passed=$((passed + total - bad - skipped))
  failed=$((failed + bad))
}

build_and_test build all -- -DCMAKE_BUILD_TYPE=Release -DUNDERWING_WERROR="${UNDERWING_WERROR:-OFF}"
if [[ ${UNDERWING_SANITIZED_TOO:-OFF} == ON ]]; then
  # The core and the watch, which everything else stands on; the whole tree takes an hour under sanitizers.
  build_and_test build-sanitized underwing_tests -- -DCMAKE_BUILD_TYPE=Debug -DCMAKE_CXX_FLAGS_DEBUG="-O1" \
    -DUNDERWING_SANITIZE=address -DUNDERWING_WERROR="${UNDERWING_WERROR:-OFF}" -DUNDERWING_SUBJECTS="language;files;reference;watch"
fi

# What a target finds lies in build-fuzz/found, to be put into its corpus.
fuzz() {
  cmake -S . -B build-fuzz -G Ninja -DCMAKE_CXX_COMPILER=clang++ -DCMAKE_BUILD_TYPE=Release -DUNDERWING_FUZZ=ON -DUNDERWING_SUBJECTS=fuzz >/dev/null
  cmake --build build-fuzz --target fuzz_targets
  local target
  for target in files expressions senml messages; do
    mkdir -p build-fuzz/grown/$target build-fuzz/found
    if build-fuzz/tests/fuzz/fuzz_$target -max_total_time="$1" -timeout=20 -rss_limit_mb=4096 -verbosity=0 -print_final_stats=1 \
      -artifact_prefix=build-fuzz/found/$target- build-fuzz/grown/$target tests/fuzz/corpus/$target; then
      passed=$((passed + 1))
    else
      failed=$((failed + 1))
    fi
  done
}
if [[ ${UNDERWING_FUZZ_SECONDS:-0} -gt 0 ]]; then fuzz "$UNDERWING_FUZZ_SECONDS"; fi

echo "$passed passed, $failed failed"
[[ $failed -eq 0 ]]
