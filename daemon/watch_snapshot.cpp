// Watch: everything but readings as JSON, so that a restart goes on where the last run stopped.
#include <nlohmann/json.hpp>

#include "daemon/watch.hpp"

namespace underwing {

namespace {

using nlohmann::json;

constexpr int kFormat = 2;

json to_json(Instant time) {
  return time == kNever ? json() : json(time.time_since_epoch().count());
}
Instant to_instant(const json& value) {
  return value.is_null() ? kNever : Instant(Duration(value.get<std::int64_t>()));
}
json to_json(const std::optional<Instant>& time) { return time ? to_json(*time) : json(); }
std::optional<Instant> to_optional_instant(const json& value) {
  return value.is_null() ? std::nullopt : std::optional(to_instant(value));
}
json to_json(double value) { return known(value) ? json(value) : json(); }
double to_double(const json& value) { return value.is_null() ? kUnknown : value.get<double>(); }
json to_json(const std::optional<double>& value) { return value ? json(*value) : json(); }
json to_json(const std::optional<Stretch>& stretch) {
  return stretch ? json{to_json(stretch->from), to_json(stretch->until)} : json();
}
/// Older snapshots have none.
std::optional<Stretch> to_optional_stretch(const json& from, const char* key) {
  const json value = from.value(key, json());
  return value.is_null() ? std::nullopt : std::optional(Stretch{to_instant(value.at(0)), to_instant(value.at(1))});
}
std::optional<double> to_optional_double(const json& value) {
  return value.is_null() ? std::nullopt : std::optional(value.get<double>());
}

json to_json(const Alarm::Calling& calling) {
  return {{"running", calling.running}, {"step", calling.step}, {"taken", calling.taken}, {"serial", calling.serial},
          {"due", to_json(calling.due)}, {"begun", to_json(calling.begun)}, {"retry", calling.retry.count()},
          {"open", calling.open}, {"reached", calling.reached}, {"check_at", to_json(calling.check_at)}};
}

Alarm::Calling to_calling(const json& from) {
  Alarm::Calling calling;
  calling.running = from.at("running");
  calling.step = from.at("step");
  calling.taken = from.at("taken");
  calling.serial = from.at("serial");
  calling.due = to_instant(from.at("due"));
  calling.begun = to_instant(from.at("begun"));
  calling.retry = Duration(from.at("retry").get<std::int64_t>());
  calling.open = from.at("open");
  calling.reached = from.at("reached");
  calling.check_at = to_instant(from.at("check_at"));
  return calling;
}

json to_json(const Alarm& alarm) {
  return {{"id", alarm.id}, {"code", alarm.code}, {"subject", static_cast<int>(alarm.subject)}, {"house", alarm.house},
          {"rule", alarm.rule}, {"probe", alarm.probe}, {"members", alarm.members},
          {"priority", static_cast<int>(alarm.priority)}, {"life", alarm.life.to_bits()}, {"raised", to_json(alarm.raised)},
          {"returned", to_json(alarm.returned)}, {"reason", static_cast<int>(alarm.reason)}, {"value", to_json(alarm.value)},
          {"limit", to_json(alarm.limit)}, {"detail", alarm.detail}, {"details", alarm.details}, {"acknowledged_by", alarm.acknowledged_by},
          {"acknowledged_at", to_json(alarm.acknowledged_at)}, {"here", alarm.here}, {"again", alarm.again}, {"held", alarm.held},
          {"release_at", to_json(alarm.release_at)},
          {"only_path", alarm.only_path}, {"named_in_summary", alarm.named_in_summary}, {"told", alarm.told}, {"calling", to_json(alarm.calling)}};
}

Alarm to_alarm(const json& from) {
  Alarm alarm;
  alarm.id = from.at("id");
  alarm.code = from.at("code");
  alarm.subject = static_cast<Alarm::Subject>(from.at("subject").get<int>());
  alarm.house = from.at("house");
  alarm.rule = from.at("rule");
  alarm.probe = from.at("probe");
  alarm.members = from.at("members").get<std::set<std::string>>();
  alarm.priority = static_cast<Priority>(from.at("priority").get<int>());
  alarm.life = LifeCycle::from_bits(from.at("life"));
  alarm.raised = to_instant(from.at("raised"));
  alarm.returned = to_optional_instant(from.at("returned"));
  alarm.reason = static_cast<Reason>(from.at("reason").get<int>());
  alarm.value = to_optional_double(from.at("value"));
  alarm.limit = to_optional_double(from.at("limit"));
  alarm.detail = from.at("detail");
  alarm.details = from.value("details", Said());
  alarm.acknowledged_by = from.at("acknowledged_by");
  alarm.acknowledged_at = to_optional_instant(from.at("acknowledged_at"));
  alarm.here = from.at("here");
  alarm.again = from.at("again");
  alarm.held = from.at("held");
  alarm.release_at = to_instant(from.at("release_at"));
  alarm.only_path = from.at("only_path");
  alarm.named_in_summary = from.at("named_in_summary");
  alarm.told = from.at("told").get<std::set<std::string>>();
  alarm.calling = to_calling(from.at("calling"));
  return alarm;
}

json to_json(const Delivery& delivery) {
  return {{"id", delivery.id}, {"who", delivery.who}, {"way", static_cast<int>(delivery.way)}, {"to", delivery.to},
          {"text", delivery.text}, {"priority", static_cast<int>(delivery.priority)}, {"codes", delivery.codes},
          {"steps", delivery.steps}, {"step", delivery.step}, {"queued", to_json(delivery.queued)},
          {"outcome", static_cast<int>(delivery.outcome)}, {"path", delivery.path}, {"only_path", delivery.only_path},
          {"plotted", to_json(delivery.plotted)}};
}

Delivery to_delivery(const json& from) {
  Delivery delivery;
  delivery.id = from.at("id");
  delivery.who = from.at("who");
  delivery.way = static_cast<Way>(from.at("way").get<int>());
  delivery.to = from.at("to");
  delivery.text = from.at("text");
  delivery.priority = static_cast<Priority>(from.at("priority").get<int>());
  delivery.codes = from.at("codes").get<std::vector<std::string>>();
  delivery.steps = from.at("steps").get<std::vector<std::pair<std::uint64_t, unsigned>>>();
  delivery.step = from.at("step");
  delivery.queued = to_instant(from.at("queued"));
  delivery.outcome = static_cast<Delivery::Outcome>(from.at("outcome").get<int>());
  delivery.path = from.at("path");
  delivery.only_path = from.at("only_path");
  delivery.plotted = to_optional_stretch(from, "plotted");
  return delivery;
}

json to_json(const RuleState& state) {
  json limits = json::array();
  for (const auto& limit : state.limits) {
    limits.push_back({limit.active, limit.broken_itself, to_json(limit.met_since), to_json(limit.broken_since),
                      to_json(limit.back_since)});
  }
  json spans = json::array();
  for (const auto& [begin, end] : state.unknown_spans) spans.push_back({to_json(begin), to_json(end)});
  json minutes = json::array();
  for (const double value : state.minutes) minutes.push_back(to_json(value));
  return {{"limits", limits}, {"in_force", state.in_force}, {"in_force_since", to_json(state.in_force_since)},
          {"left_force", state.left_force}, {"unknown_since", to_json(state.unknown_since)},
          {"known_since", to_json(state.known_since)}, {"spans", spans}, {"often_unknown", state.often_unknown},
          {"blind", state.blind}, {"minutes", minutes}, {"minutes_count", state.minutes_count},
          {"trend", to_json(state.trend_per_min)}, {"last_value", to_json(state.last_value)}};
}

RuleState to_state(const json& from) {
  RuleState state;
  for (const json& entry : from.at("limits")) {
    state.limits.push_back({entry.at(0), entry.at(1), to_instant(entry.at(2)), to_instant(entry.at(3)), to_instant(entry.at(4))});
  }
  state.in_force = from.at("in_force");
  state.in_force_since = to_instant(from.at("in_force_since"));
  state.left_force = from.at("left_force");
  state.unknown_since = to_instant(from.at("unknown_since"));
  state.known_since = to_instant(from.at("known_since"));
  for (const json& span : from.at("spans")) state.unknown_spans.emplace_back(to_instant(span.at(0)), to_instant(span.at(1)));
  state.often_unknown = from.at("often_unknown");
  state.blind = from.at("blind");
  for (std::size_t i = 0; i < RuleState::kMinutesKept; ++i) state.minutes[i] = to_double(from.at("minutes").at(i));
  state.minutes_count = from.at("minutes_count");
  state.trend_per_min = to_double(from.at("trend"));
  state.last_value = to_double(from.at("last_value"));
  return state;
}

/// A rule's name that holds over other rule sets.
std::string key_of(const RuleSet& rules, const WatchedRule& rule) {
  return rules.houses[rule.house].name + "/" + (rule.flock ? rules.flocks[*rule.flock].name : "") + "/" + rule.pack + "/" +
         rule.name + "/" + (rule.probe ? rules.probes[*rule.probe].name : "");
}

}  // namespace

std::string Watch::snapshot() const {
  json out = {{"format", kFormat}, {"now", to_json(now_)}, {"wall_ahead", engine_->wall_ahead().count()},
              {"alarm_count", alarm_count_}, {"code_count", code_count_}, {"long_code_count", long_code_count_},
              {"delivery_count", delivery_count_},
              {"summary_due", to_json(summary_due_)}, {"evening_due", to_json(evening_due_)},
              {"summary_from", to_json(summary_from_)}, {"last_codes", last_codes_}};
  for (const auto& [code, time] : codes_used_) out["codes_used"][code] = to_json(time);
  for (std::size_t probe = 0; probe < rules_->probes.size(); ++probe) {
    if (unusable_since_[probe] != kNever) out["unusable_since"][rules_->full_name(probe)] = to_json(unusable_since_[probe]);
  }
  for (const auto& [house, since] : silent_since_) out["silent_since"][house] = to_json(since);
  for (const auto& [id, alarm] : alarms_) out["alarms"].push_back(to_json(alarm));
  for (const auto& [id, delivery] : deliveries_) out["deliveries"].push_back(to_json(delivery));
  for (const auto& [mailbox, mail] : mailboxes_) {
    json waiting = json::array();
    for (const auto& message : mail.waiting) {
      waiting.push_back({{"alarm", message.alarm}, {"serial", message.serial}, {"step", message.step},
                         {"priority", static_cast<int>(message.priority)}, {"text", message.text}, {"in_short", message.in_short},
                         {"in_full", message.in_full},
                         {"not_before", to_json(message.not_before)}, {"plotted", to_json(message.plotted)}});
    }
    const bool never = mail.last_sent == Instant(Duration::min());
    const bool no_alarm = mail.last_alarm == Instant(Duration::min());
    out["mail"].push_back({mailbox.first, static_cast<int>(mailbox.second), never ? json() : to_json(mail.last_sent),
                           to_json(mail.flush_at), waiting, no_alarm ? json() : to_json(mail.last_alarm)});
  }
  for (const Night& entry : night_) {
    out["night"].push_back({entry.house, entry.what, entry.who, to_json(entry.raised), to_json(entry.returned),
                            static_cast<int>(entry.priority), entry.alarm, entry.whats});
  }
  for (const auto& [key, entries] : returns_) {
    for (const auto& [time, priority] : entries) out["returns"][key].push_back({to_json(time), static_cast<int>(priority)});
  }
  for (const auto& [rule, shelving] : shelved_) {
    out["shelved"].push_back({rule.first, rule.second, to_json(shelving.until), shelving.who, shelving.why, shelving.even_urgent});
  }
  for (const auto& [house, group] : blind_groups_) out["blind_groups"][house] = {to_json(group.first), group.second};
  for (std::size_t i = 0; i < rules_->rules.size(); ++i) {
    out["rules"][key_of(*rules_, rules_->rules[i])] = to_json(engine_->state(i));
  }
  for (const auto& [house, work] : works_) out["work"].push_back({house, to_json(work.until), work.who, work.reminded});
  for (const auto& [who, entered] : last_entered_) {
    out["last_entered"].push_back({who, entered.probe, entered.value, to_json(entered.before)});
  }
  for (const auto& [probe, kept] : entries_) {
    for (const auto& [time, value] : kept) out["entries"].push_back({probe, to_json(time), value});
  }
  for (const DutySwap& swap : swaps_) out["swaps"].push_back({swap.date.time_since_epoch().count(), swap.one, swap.other});
  for (const auto& [name, path] : paths_) out["paths"][name] = {to_json(path.sent), to_json(path.proven), path.failures, to_json(path.tested)};
  for (const auto& [who, drilled] : drilled_) {
    out["drilled"][who] = {to_json(drilled.begun), drilled.answered_after ? json(drilled.answered_after->count()) : json()};
  }
  out["call_out_answered"] = to_json(call_out_answered_);
  if (rules_->farm.drills.weekly || rules_->farm.drills.before_placement) out["drills_from"] = to_json(drills_from_);
  for (const auto& [who, time] : woken_) out["woken"][who] = to_json(time);
  for (const auto& [who, time] : night_tried_) out["night_tried"][who] = to_json(time);
  out["heard"] = {to_json(heard_.since), heard_.ever, heard_.text};
  for (const auto& [house, pace] : paces_) {
    json air = json::array();
    for (const double value : pace.air_c) air.push_back(to_json(value));
    out["paces"][house] = {air, pace.fans_off_min, pace.heaters_off_min, to_json(pace.rise_k_min.value), to_json(pace.rise_k_min.seen),
                           to_json(pace.constant_min.value), to_json(pace.constant_min.seen)};
  }
  for (const auto& [probe, day] : day_) out["day"][probe] = {day.lowest, day.highest, day.sum, day.first, day.count};
  for (const auto& [probe, levels] : levels_) {
    for (const auto& [time, value] : levels) out["levels"][probe].push_back({to_json(time), value});
  }
  for (const auto& [house, spans] : air_) {
    for (const AirSpan& span : spans) {
      out["air"][house].push_back({to_json(span.begin), to_json(span.lowest), to_json(span.highest), to_json(span.low), to_json(span.high), span.minutes});
    }
  }
  out["flood"] = flood_;
  for (const Instant time : told_lately_) out["told_lately"].push_back(to_json(time));
  for (const auto& [who, time] : helped_) out["helped"][who] = to_json(time);
  for (const auto& [key, time] : replies_taken_) out["replies_taken"][key] = to_json(time);
  return out.dump(-1, ' ', false, json::error_handler_t::replace);
}

Instant Watch::snapshot_time(const std::string& snapshot) {
  const json from = json::parse(snapshot, nullptr, false);
  return from.is_object() && from.contains("now") ? to_instant(from.at("now")) : kNever;
}

namespace {

std::vector<Watch::Entered> to_entries(const json& list) {
  std::vector<Watch::Entered> entries;
  for (const json& entry : list) entries.push_back({entry.at(0), to_instant(entry.at(1)), entry.at(2)});
  return entries;
}

}  // namespace

std::vector<Watch::Entered> Watch::snapshot_entries(const std::string& snapshot) {
  const json from = json::parse(snapshot, nullptr, false);
  if (!from.is_object() || !from.contains("entries")) return {};
  try {
    return to_entries(from.at("entries"));
  } catch (const json::exception&) {
    return {};
  }
}

namespace {

std::map<std::uint64_t, Alarm> to_alarms(const json& list) {
  std::map<std::uint64_t, Alarm> alarms;
  for (const json& entry : list) {
    Alarm alarm = to_alarm(entry);
    alarms.emplace(alarm.id, std::move(alarm));
  }
  return alarms;
}

std::map<std::string, Instant> to_instants(const json& from) {
  std::map<std::string, Instant> instants;
  for (const auto& [name, time] : from.items()) instants[name] = to_instant(time);
  return instants;
}

}  // namespace

bool Watch::restore(const std::string& snapshot) {
  const json from = json::parse(snapshot, nullptr, false);
  if (!from.is_object() || from.value("format", 0) != kFormat) return false;
  try {
    // All is read first; what cannot be understood throws before anything has changed.
    const auto list = [&](const char* name) { return from.contains(name) ? from.at(name) : json::object(); };
    auto alarms = to_alarms(list("alarms"));
    std::map<std::string, Delivery> deliveries;
    for (const json& entry : list("deliveries")) {
      Delivery delivery = to_delivery(entry);
      deliveries.emplace(delivery.id, std::move(delivery));
    }
    std::map<Mailbox, Mail> mailboxes;
    for (const json& entry : list("mail")) {
      Mail mail;
      if (!entry.at(2).is_null()) mail.last_sent = to_instant(entry.at(2));
      mail.flush_at = to_instant(entry.at(3));
      if (!entry.at(5).is_null()) mail.last_alarm = to_instant(entry.at(5));
      for (const json& message : entry.at(4)) {
        mail.waiting.push_back({message.at("alarm"), message.at("serial"), message.at("step"),
                                static_cast<Priority>(message.at("priority").get<int>()), message.at("text"), message.at("in_short"), message.at("in_full"),
                                to_instant(message.at("not_before")), to_optional_stretch(message, "plotted")});
      }
      mailboxes.emplace(Mailbox{entry.at(0), static_cast<Way>(entry.at(1).get<int>())}, std::move(mail));
    }
    std::vector<Night> night;
    for (const json& entry : list("night")) {
      night.push_back({entry.at(0), entry.at(1), entry.at(2), to_instant(entry.at(3)), to_optional_instant(entry.at(4)),
                       static_cast<Priority>(entry.at(5).get<int>()), entry.at(6), entry.size() > 7 ? entry.at(7).get<Said>() : Said()});
    }
    std::map<std::string, std::pair<Instant, std::uint64_t>> blind_groups;
    const json groups = list("blind_groups");
    for (const auto& [house, group] : groups.items()) blind_groups[house] = {to_instant(group.at(0)), group.at(1)};
    decltype(returns_) returns;
    const json all_returns = list("returns");
    for (const auto& [key, entries] : all_returns.items()) {
      for (const json& entry : entries) returns[key].emplace_back(to_instant(entry.at(0)), static_cast<Priority>(entry.at(1).get<int>()));
    }
    decltype(shelved_) shelved;
    for (const json& entry : list("shelved")) {
      shelved[{entry.at(0), entry.at(1)}] = {to_instant(entry.at(2)), entry.at(3), entry.at(4), entry.at(5)};
    }
    std::map<std::size_t, RuleState> states;
    const json rules = list("rules");
    for (std::size_t i = 0; i < rules_->rules.size(); ++i) {
      const auto found = rules.find(key_of(*rules_, rules_->rules[i]));
      if (found != rules.end()) states.emplace(i, to_state(*found));
    }
    auto codes_used = to_instants(list("codes_used"));
    const auto unusable_since = to_instants(list("unusable_since"));
    auto silent_since = to_instants(list("silent_since"));
    auto helped = to_instants(list("helped"));
    auto replies_taken = to_instants(list("replies_taken"));
    decltype(paths_) paths;
    const json all_paths = list("paths");
    for (const auto& [name, path] : all_paths.items()) {
      paths[name] = {to_optional_instant(path.at(0)), to_optional_instant(path.at(1)), path.at(2),
                      path.size() > 3 ? to_optional_instant(path.at(3)) : std::nullopt};
    }
    decltype(drilled_) drilled;
    const json all_drilled = list("drilled");
    for (const auto& [who, entry] : all_drilled.items()) {
      drilled[who] = {to_instant(entry.at(0)), entry.at(1).is_null() ? std::nullopt : std::optional(Duration(entry.at(1).get<std::int64_t>()))};
    }
    auto woken = to_instants(list("woken"));
    auto night_tried = to_instants(list("night_tried"));
    // What a snapshot does not tell, as it was not in the farm's files then, begins now.
    const auto call_out_answered = from.contains("call_out_answered") ? to_optional_instant(from.at("call_out_answered")) : std::nullopt;
    const Instant drills_from = to_instant(from.contains("drills_from") ? from.at("drills_from") : from.at("now"));
    Heard heard;
    heard.since = to_instant(from.at("now"));
    if (from.contains("heard")) heard = {kNever, to_instant(from.at("heard").at(0)), from.at("heard").at(1), from.at("heard").at(2)};
    decltype(day_) day;
    const json all_day = list("day");
    for (const auto& [probe, entry] : all_day.items()) day[probe] = {entry.at(0), entry.at(1), entry.at(2), entry.at(3), entry.at(4)};
    decltype(paces_) paces;
    const json all_paces = list("paces");
    for (const auto& [house, entry] : all_paces.items()) {
      Pace& pace = paces[house];
      for (const json& value : entry.at(0)) pace.air_c.push_back(to_double(value));
      pace.fans_off_min = entry.at(1);
      pace.heaters_off_min = entry.at(2);
      pace.rise_k_min = {to_double(entry.at(3)), to_instant(entry.at(4))};
      pace.constant_min = {to_double(entry.at(5)), to_instant(entry.at(6))};
    }
    decltype(levels_) levels;
    const json all_levels = list("levels");
    for (const auto& [probe, entries_of_probe] : all_levels.items()) {
      for (const json& entry : entries_of_probe) levels[probe].emplace_back(to_instant(entry.at(0)), entry.at(1).get<double>());
    }
    decltype(air_) air;
    const json all_air = list("air");
    for (const auto& [house, spans] : all_air.items()) {
      if (!rules_->find_house(house)) continue;
      for (const json& span : spans) {
        air[house].push_back({to_instant(span.at(0)), to_double(span.at(1)), to_double(span.at(2)), to_double(span.at(3)), to_double(span.at(4)), span.at(5)});
      }
    }
    std::deque<Instant> told_lately;
    for (const json& entry : list("told_lately")) told_lately.push_back(to_instant(entry));
    const bool flood = from.at("flood");
    decltype(works_) works;
    for (const json& entry : list("work")) works[entry.at(0)] = {to_instant(entry.at(1)), entry.at(2), entry.at(3)};
    decltype(last_entered_) last_entered;
    for (const json& entry : list("last_entered")) {
      last_entered[entry.at(0)] = {entry.at(1), entry.at(2), to_optional_double(entry.at(3))};
    }
    decltype(entries_) entries;
    for (const Entered& entry : to_entries(list("entries"))) entries[entry.probe].emplace_back(entry.time, entry.value);
    std::vector<DutySwap> swaps;
    for (const json& entry : list("swaps")) swaps.push_back({Date(std::chrono::days(entry.at(0).get<int>())), entry.at(1), entry.at(2)});
    auto last_codes = from.at("last_codes").get<decltype(last_codes_)>();
    const Duration wall_ahead(from.at("wall_ahead").get<std::int64_t>());
    const std::uint64_t alarm_count = from.at("alarm_count"), code_count = from.at("code_count"),
                        long_code_count = from.at("long_code_count"), delivery_count = from.at("delivery_count");
    const Instant summary_due = to_instant(from.at("summary_due")), evening_due = to_instant(from.at("evening_due")),
                  summary_from = to_instant(from.at("summary_from")), now = to_instant(from.at("now"));

    if (wall_ahead != engine_->wall_ahead()) engine_->set_wall(wall_ahead);
    engine_->clear_events();
    alarms_ = std::move(alarms);
    deliveries_ = std::move(deliveries);
    mailboxes_ = std::move(mailboxes);
    night_ = std::move(night);
    blind_groups_ = std::move(blind_groups);
    returns_ = std::move(returns);
    shelved_ = std::move(shelved);
    codes_used_ = std::move(codes_used);
    silent_since_ = std::move(silent_since);
    helped_ = std::move(helped);
    replies_taken_ = std::move(replies_taken);
    swaps_ = std::move(swaps);
    paths_ = std::move(paths);
    drilled_ = std::move(drilled);
    call_out_answered_ = call_out_answered;
    drills_from_ = drills_from;
    woken_ = std::move(woken);
    night_tried_ = std::move(night_tried);
    heard_ = std::move(heard);
    day_ = std::move(day);
    paces_ = std::move(paces);
    levels_ = std::move(levels);
    air_ = std::move(air);
    told_lately_ = std::move(told_lately);
    flood_ = flood;
    works_ = std::move(works);
    last_entered_ = std::move(last_entered);
    entries_ = std::move(entries);
    last_codes_ = std::move(last_codes);
    alarm_count_ = alarm_count;
    code_count_ = code_count;
    long_code_count_ = long_code_count;
    delivery_count_ = delivery_count;
    summary_due_ = summary_due;
    evening_due_ = evening_due;
    summary_from_ = summary_from;
    now_ = std::max(now_, now);
    schedule_drills();
    schedule_heartbeat();
    for (const auto& [name, since] : unusable_since) {
      if (const auto probe = rules_->find_probe(name)) unusable_since_[*probe] = since;
    }
    for (const auto& [house, work] : works_) {
      if (const auto index = rules_->find_house(house)) engine_->set_work(*index, work.until);
    }
    engine_->clear_events();
    for (const auto& [rule, state] : states) engine_->restore(rule, state);
  } catch (const json::exception&) {
    return false;
  }
  return true;
}

void Watch::resume(Instant now, std::optional<Duration> wall_ahead) {
  now_ = std::max(now_, now);
  minute_due_ = ceil_minute(now_);
  engine_->resume(now_);
  if (wall_ahead && *wall_ahead != engine_->wall_ahead()) engine_->set_wall(*wall_ahead);
  for (auto& [id, alarm] : alarms_) {
    Alarm::Calling& calling = alarm.calling;
    const CallPlan* plan = plan_of(alarm.priority);
    if (!calling.running || !plan || calling.due > now_) continue;
    while (calling.step + 1 < plan->steps.size() && calling.begun + plan->steps[calling.step + 1].after <= now_) ++calling.step;
    calling.due = within_plan_hours(alarm.priority, now_);
  }
  for (auto& [id, delivery] : deliveries_) {
    if (delivery.outcome == Delivery::Outcome::open) delivery.queued = now_;
  }
  // A drill whose time the outage took waits for its next one: nobody is to be tested at any odd hour.
  schedule_drills();
  schedule_heartbeat();
  // While nobody ran the watch, nobody sent anything either.
  if (!standing(Alarm::Subject::built_in, "", "heartbeat-unanswered", rules_->farm.heartbeat ? rules_->farm.heartbeat->over : "")) heard_ = {heard_.due, now_, false, ""};
  settle_engine();
  // Alarms and the engine's memory were kept together; where one was lost, the engine is right.
  end_orphans();
}

}  // namespace underwing
