#include "tests/simulation/service.hpp"

#include <condition_variable>
#include <deque>
#include <mutex>
#include <nlohmann/json.hpp>
#include <stdexcept>

#include "daemon/catch_up.hpp"
#include "daemon/json_text.hpp"

namespace underwing {

namespace {

using namespace std::chrono_literals;

constexpr Duration kUnsynced = 10s;  // of tape that a power cut may take

}  // namespace

/// What the journal's thread hands back; waited for, so that a seed always runs the same way.
struct SimulatedService::Posted {
  std::mutex mutex;
  std::condition_variable wake;
  std::deque<std::function<void()>> work;

  void add(std::function<void()> piece) {
    {
      const std::lock_guard lock(mutex);
      work.push_back(std::move(piece));
    }
    wake.notify_one();
  }
  void run_one() {
    std::unique_lock lock(mutex);
    if (!wake.wait_for(lock, 30s, [&] { return !work.empty(); }))
      throw std::runtime_error("the journal does not answer");
    const std::function<void()> piece = std::move(work.front());
    work.pop_front();
    lock.unlock();
    piece();
  }
};

SimulatedService::SimulatedService(std::shared_ptr<const RuleSet> rules, std::filesystem::path journal,
                                   SimulationDice& dice, double cut, ServiceObserver& observer)
    : rules_(std::move(rules)),
      path_(std::move(journal)),
      dice_(dice),
      cut_(cut),
      observer_(observer),
      posted_(std::make_unique<Posted>()) {}

SimulatedService::~SimulatedService() = default;

void SimulatedService::open_journal() {
  JournalOptions options;
  options.path = path_;
  options.post = [this](std::function<void()> work) { posted_->add(std::move(work)); };
  options.on_problem = [](const std::string& problem) { throw std::runtime_error(problem); };
  journal_ = std::make_unique<Journal>(std::move(options));
}

void SimulatedService::begin(Instant now) {
  open_journal();
  watch_ = std::make_unique<Watch>(rules_);
  recorder_ = std::make_unique<Recorder>(*watch_, [this](std::string_view line, Instant written) {
    tape_.push_back({std::string(line), written});
  });
  recorder_->begin(now, Duration::zero());
  for (const PluginEntry& entry : rules_->farm.plugins) watch_->plugin(entry.name, true, "");
  apply();
}

void SimulatedService::cut_power() {
  const Instant lost = watch_->now() - dice_.span(0s, kUnsynced);
  while (!tape_.empty() && tape_.back().written > lost) tape_.pop_back();
  recorder_.reset();
  watch_.reset();
  journal_.reset();
  wall_ahead_ = Duration::zero();
}

void SimulatedService::start_again(Instant now) {
  auto reader = JournalReader::open(path_);
  if (!reader.ok()) throw std::runtime_error(reader.error());
  const auto snapshot = reader->last_snapshot();
  const auto ids = reader->last_ids();
  if (!snapshot.ok() || !*snapshot || !ids.ok())
    throw std::runtime_error("the journal has lost its snapshot");
  ids_ = *ids;
  watch_ = std::make_unique<Watch>(rules_);
  recorder_ = std::make_unique<Recorder>(*watch_, [this](std::string_view line, Instant written) {
    tape_.push_back({std::string(line), written});
  });
  CatchUp catch_up(*watch_, *rules_, (*snapshot)->json);
  for (const TapeLine& line : tape_) catch_up.take(line.line);
  if (!catch_up.finish()) throw std::runtime_error("the snapshot does not fit");
  recorder_->resume(now, wall_ahead_);
  const std::vector<Delivery> on_their_way = catch_up.on_their_way();
  open_journal();
  for (const PluginEntry& entry : rules_->farm.plugins) watch_->plugin(entry.name, true, "");
  // What was on its way is handed over once more, under the same name; then what the way here led to.
  for (const Delivery& delivery : on_their_way) observer_.handed(delivery);
  apply();
}

bool SimulatedService::cut_comes() {
  if (!dice_.chance(cut_)) return false;
  cut_power();
  return true;
}

void SimulatedService::submit(JournalTransaction transaction) {
  bool done = false;
  transaction.done = [&](const Result<void>& result) {
    if (!result.ok()) throw std::runtime_error(result.error());
    done = true;
  };
  journal_->submit(std::move(transaction));
  while (!done) posted_->run_one();
}

void SimulatedService::write(const std::vector<Effect>& effects) {
  JournalTransaction transaction;
  for (const Effect& effect : effects) {
    const auto json = nlohmann::json::parse(effect.json, nullptr, false);
    switch (effect.kind) {
      case Effect::Kind::event:
        transaction.rows.emplace_back(EventRow{++ids_.event, effect.time, text_of(json, "event"),
                                               text_of(json, "house"), text_of(json, "rule"), effect.json});
        break;
      case Effect::Kind::alarm: {
        const Alarm& alarm = *effect.alarm;
        transaction.rows.emplace_back(AlarmRow{alarm.id, alarm.code, alarm.house, alarm.rule, alarm.probe,
                                               to_string(alarm.life.state()), to_string(alarm.priority),
                                               alarm.raised, alarm.returned, "{}"});
        break;
      }
      case Effect::Kind::delivery: {
        const Delivery& delivery = *effect.delivery;
        transaction.rows.emplace_back(DeliveryRow{delivery.id, delivery.queued, delivery.who,
                                                  to_string(delivery.way), to_string(delivery.outcome),
                                                  "{}"});
        break;
      }
      case Effect::Kind::answer:
        transaction.rows.emplace_back(AnswerRow{++ids_.answer, effect.time, text_of(json, "who"),
                                                text_of(json, "by"), text_of(json, "text"), effect.json});
        break;
      case Effect::Kind::entry:
        recorder_->entry(*effect.entry);
        break;
      case Effect::Kind::story:
      case Effect::Kind::heartbeat:
        break;
    }
  }
  transaction.rows.emplace_back(SnapshotRow{watch_->now(), watch_->snapshot()});
  submit(std::move(transaction));
}

void SimulatedService::apply() {
  std::vector<Effect> effects = watch_->take_effects();
  if (effects.empty()) return;
  if (cut_comes()) return;
  write(effects);
  observer_.written(effects);
  if (cut_comes()) return;
  for (const Effect& effect : effects) {
    if (effect.kind != Effect::Kind::delivery || effect.delivery->outcome != Delivery::Outcome::open)
      continue;
    observer_.handed(*effect.delivery);
    if (cut_comes()) return;
  }
}

void SimulatedService::advance(Instant now) {
  recorder_->advance(now);
  apply();
  if (!up() || floor_minute(now) <= minute_) return;
  minute_ = floor_minute(now);
  recorder_->mark_time();
  write({});
}

void SimulatedService::reading(const std::string& probe, Instant time, double value) {
  recorder_->reading(*rules_->find_probe(probe), time, value);
  apply();
}

void SimulatedService::receipt(const std::string& delivery, Delivery::Outcome outcome) {
  watch_->receipt(delivery, outcome, "");
  apply();
}

void SimulatedService::reply(const std::string& from, const std::string& text) {
  watch_->reply(from, "text", text);
  apply();
}

void SimulatedService::reload(std::shared_ptr<const RuleSet> rules) {
  recorder_->mark_time();
  rules_ = std::move(rules);
  watch_->reload(rules_);
  apply();
}

void SimulatedService::clock(Duration wall_ahead) {
  wall_ahead_ = wall_ahead;
  recorder_->clock(wall_ahead);
  apply();
}

}  // namespace underwing
