// Watch: the heartbeat, a sign of life to somebody elsewhere who notices when it stays away. It leaves a watch that has just
// worked off a minute, and nothing else: one that is stuck looks stuck.
#include <algorithm>
#include <nlohmann/json.hpp>

#include "daemon/watch.hpp"
#include "daemon/words.hpp"
#include "rules/languages/texts.hpp"

namespace underwing {

namespace {

using namespace std::chrono_literals;

/// Longer than the 3 min after which whoever listens gives a beat up for lost (EN 50136-1, as of an SP4 path, from memory),
/// and than a router takes to start anew (common practice), so that what people hear is no passing thing.
constexpr Duration kUnansweredAfter = 5min;
constexpr int kBeatsMissed = 5;   // where they come seldom
constexpr int kBeatsLately = 2;   // unanswered: the last one may be on its way

}  // namespace

void Watch::schedule_heartbeat() {
  heard_.due = kNever;
  if (!rules_->farm.heartbeat) return;
  const Duration every = rules_->farm.heartbeat->every;
  heard_.due = now_ + (every - now_.time_since_epoch() % every);
}

void Watch::beat() {
  const auto stands = std::count_if(alarms_.begin(), alarms_.end(), [](const auto& entry) { return entry.second.life.stands(); });
  Effect effect;
  effect.kind = Effect::Kind::heartbeat;
  effect.time = now_;
  effect.json = nlohmann::ordered_json{{"beating", true}, {"farm", rules_->farm.name}, {"time", to_rfc3339(wall())}, {"alarms", stands}}
                    .dump(-1, ' ', false, nlohmann::ordered_json::error_handler_t::replace);
  effects_.push_back(std::move(effect));
  schedule_heartbeat();
}

void Watch::heartbeat(Instant sent, bool answered, const std::string& text) {
  if (!rules_->farm.heartbeat) return;
  if (!answered) {
    heard_.text = text;
    return;
  }
  heard_.since = std::max(heard_.since, sent);
  heard_.ever = true;
  heard_.text.clear();
  built_in("", "heartbeat-unanswered", rules_->farm.heartbeat->over, false, Priority::soon, "");
}

bool Watch::heard_lately() const { return heard_.ever && now_ - heard_.since <= kBeatsLately * rules_->farm.heartbeat->every; }

void Watch::check_heartbeat() {
  const auto& wanted = rules_->farm.heartbeat;
  if (!wanted || now_ - heard_.since < std::max(kUnansweredAfter, kBeatsMissed * wanted->every)) return;
  const std::string since = clock_time(rules_->farm.zone, heard_.since + engine_->wall_ahead());
  built_in("", "heartbeat-unanswered", wanted->over, true, Priority::soon, [&](const Language& language) {
    return say(language, "nobody_outside", {{"plugin", wanted->over}, {"time", since}}) + (heard_.text.empty() ? "" : ": " + heard_.text);
  });
}

std::optional<Watch::HeartbeatStatus> Watch::heartbeat_status() const {
  if (!rules_->farm.heartbeat) return std::nullopt;
  return HeartbeatStatus{rules_->farm.heartbeat->over, heard_lately(), heard_.since, heard_.text};
}

}  // namespace underwing
