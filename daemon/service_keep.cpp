// Service: what is old is let go of, so that the state folder does not grow for ever.
#include <fmt/format.h>

#include "daemon/service_impl.hpp"
#include "daemon/words.hpp"
#include "rules/engine/engine.hpp"

namespace underwing {

namespace {

using namespace std::chrono_literals;

constexpr Duration kEvery = 1h;            // tapes are an hour long
constexpr Duration kSaidEvery = 24h;
constexpr Duration kAlwaysKept = 7 * 24h;  // a week to look back on, however little room there is; a restart needs less

}  // namespace

void Service::Impl::forget_old(JournalTransaction& transaction) {
  if (options.time_from_readings) return;  // a demonstration's time leaps over years
  const Instant now = watch->now();
  transaction.rows.emplace_back(ForgetRow{now - options.keep.records, now - options.keep.minutes, now - kAlwaysKept, options.keep.journal_bytes});
}

/// At each full hour, and at the start: what a restart takes back stays, and a day more.
void Service::Impl::forget_old_tapes() {
  const Instant now = watch->now();
  if (options.time_from_readings || now - tapes_looked_at < kEvery) return;
  tapes_looked_at = std::chrono::floor<std::chrono::hours>(now);
  const Instant needed = now - longest_span(*rules) - 24h;
  tape->forget({options.keep.tapes, options.keep.tape_bytes}, now, needed, [this](const TapesForgotten& gone) {
    tapes_forgotten.count += gone.count;
    tapes_forgotten.bytes += gone.bytes;
    tapes_forgotten.over_size = gone.over_size;
    say_forgotten();
  });
}

void Service::Impl::say_forgotten() {
  const bool anything = tapes_forgotten.count + forgotten.minutes + forgotten.records > 0 || tapes_forgotten.over_size;
  if (!anything || watch->now() - said_forgotten < kSaidEvery) return;
  said_forgotten = watch->now();
  if (tapes_forgotten.count > 0) {
    log(fmt::format("Old tapes were let go of: {}, {:.1f} MB.", tapes_forgotten.count, static_cast<double>(tapes_forgotten.bytes) / 1e6));
  }
  if (tapes_forgotten.over_size) log("The tapes take more room than they should, though only those that a restart needs are left.");
  if (forgotten.minutes + forgotten.records > 0) log(fmt::format("Old rows of the journal were let go of: {} minutes, {} records.", forgotten.minutes, forgotten.records));
  tapes_forgotten = {};
  forgotten = {};
}

}  // namespace underwing
