#include "daemon/service.hpp"

#include <fmt/format.h>
#include <spdlog/spdlog.h>
#include <sys/signal.h>

#include <cstdio>
#include <fstream>
#include <utility>

#include "daemon/catch_up.hpp"
#include "daemon/service_impl.hpp"
#include "daemon/zone_files.hpp"

namespace underwing {

namespace {

using namespace std::chrono_literals;

constexpr Duration kBehindWall = 1s;      // "now" follows the clock by this much, so that readings come first
constexpr Duration kTick = 100ms;
constexpr int kCommandRefused = 1;        // of JSON-RPC errors, one of our own

}  // namespace

Service::Service(ServiceOptions options) : impl_(std::make_unique<Impl>(std::move(options))) {}
Service::~Service() = default;
int Service::run() { return impl_->run(); }

Service::Impl::Impl(ServiceOptions given) : options(std::move(given)) {}

void Service::Impl::log(const std::string& sentence) {
  spdlog::info("{}", sentence);
}

Instant Service::Impl::engine_now() {
  return options.time_from_readings ? watch->now() : clock->read().engine;
}

bool Service::Impl::load() {
  auto files = read_farm_files(options.farm);
  if (!files.ok()) {
    fmt::print(stderr, "underwingd: {}\n", files.error());
    return false;
  }
  const Loaded loaded = load_farm(*files, load_zone);
  for (const Issue& issue : loaded.issues) {
    if (issue.severity != Issue::Severity::caution) {
      fmt::print(stderr, "{}:{}:{}: {}{}\n", issue.file, issue.line, issue.column,
                 issue.severity == Issue::Severity::danger ? "DANGER: " : "", issue.text);
    }
  }
  if (!loaded.ok()) {
    fmt::print(stderr, "underwingd: the farm's files have mistakes; 'underwing check {}' shows them in place\n", options.farm.string());
    return false;
  }
  rules = loaded.rules;
  return true;
}

void Service::Impl::open_memory() {
  const auto post = [this](std::function<void()> work) { loop.post(std::move(work)); };
  const auto disk = [this](const std::string& problem) {
    if (!watch) return;
    watch->trouble("disk", !problem.empty(), "the gateway's disk does not take what is written: " + problem);
    apply();
  };
  JournalOptions journal_options;
  journal_options.path = options.state / "journal.db";
  journal_options.post = post;
  journal_options.on_problem = disk;
  journal_options.on_forgotten = [this](const JournalForgotten& gone) {
    forgotten.minutes += gone.minutes;
    forgotten.records += gone.records;
  };
  journal = std::make_unique<Journal>(std::move(journal_options));
  tape = std::make_unique<TapeThread>(options.state / "tapes", TapeHead{rules->farm.zone.version, rules->hash}, post, disk);
}

/// Takes the last snapshot, the tape back over the longest window, and the tape since; tells nothing of that.
void Service::Impl::go_on_from(const SnapshotRow& snapshot, Instant now, Duration wall_ahead) {
  if (!CatchUp::readable(snapshot.json)) {
    log("The last snapshot cannot be read; the watch begins anew.");
    recorder->begin(now, wall_ahead);
    return;
  }
  CatchUp catch_up(*watch, *rules, snapshot.json);
  for (const auto& path : list_tapes(options.state / "tapes")) {
    if (path.filename().string().substr(0, 13) < tape_hour(catch_up.from())) continue;
    auto reader = TapeReader::open(path);
    if (!reader.ok()) continue;
    while (const auto line = reader->next()) catch_up.take(*line);
  }
  if (!catch_up.finish()) log("The last snapshot does not fit; alarms begin anew.");
  log(fmt::format("Goes on from {} after {} without a watch.", story->stamp(watch->now()), to_words(std::chrono::floor<std::chrono::seconds>(now - watch->now()))));
  recorder->resume(now, wall_ahead);
  on_their_way = catch_up.on_their_way();
}

void Service::Impl::begin() {
  watch = std::make_unique<Watch>(rules);
  intake = std::make_unique<Intake>(*rules);
  story = std::make_unique<Story>(*rules);
  minutes.assign(rules->probes.size(), Minute());
  recorder = std::make_unique<Recorder>(*watch, [this](std::string_view line, Instant now) { tape->write(line, now); });
  std::optional<SnapshotRow> snapshot;
  if (auto reader = JournalReader::open(options.state / "journal.db"); reader.ok()) {
    if (const auto last = reader->last_ids(); last.ok()) ids = *last;
    if (auto found = reader->last_snapshot(); found.ok()) snapshot = std::move(*found);
  }
  if (options.time_from_readings) return;  // begins with the first reading
  std::optional<Instant> not_before;
  if (snapshot && Watch::snapshot_time(snapshot->json) != kNever) not_before = Watch::snapshot_time(snapshot->json);
  system_clock = std::make_unique<SystemClock>(options.trust_clock);
  clock = std::make_unique<EngineClock>(*system_clock, not_before);
  const EngineClock::Reading now = clock->read();
  if (snapshot) go_on_from(*snapshot, now.engine, now.wall_ahead);
  else recorder->begin(now.engine, now.wall_ahead);
}

void Service::Impl::start_plugins() {
  PluginHandlers handlers;
  handlers.on_reading = [this](const std::string& plugin, const SenmlRecord& record) { on_reading(plugin, record); };
  handlers.on_message = [this](const std::string& plugin, const std::string& method, const nlohmann::json& params) { on_message(plugin, method, params); };
  handlers.on_request = [this](const std::string& plugin, const nlohmann::json& id, const std::string& method, const nlohmann::json& params) {
    on_request(plugin, id, method, params);
  };
  handlers.on_answer = [this](const std::string& plugin, std::uint64_t id, const nlohmann::json& result) { on_answer(plugin, id, result); };
  handlers.on_turn = [this] {
    if (clock) turn_clock = read_clock();
  };
  handlers.on_state = [this](const PluginStatus& status) { on_state(status); };
  handlers.on_log = [](const std::string& plugin, const std::string& line) { spdlog::info("{}: {}", plugin, line); };
  plugins = std::make_unique<PluginHost>(loop, options.farm, [this] { return engine_now(); }, std::move(handlers));
  for (const PluginEntry& entry : rules->farm.plugins) {
    watch->plugin(entry.name, false, "starting");
    plugins->start({entry.name, entry.run, entry.arguments, entry.settings_json});
  }
}

void Service::Impl::tick() {
  if (stopping) return;
  if (!options.time_from_readings) {
    recorder->advance(read_clock().engine - kBehindWall);
    apply();
    const auto long_ago = std::chrono::steady_clock::now() - 2s;
    while (!batches.empty() && batches.front().since < long_ago) hand_over(batches.front().number);
  }
  if (watch->now() != Instant{}) {
    flush_minutes(floor_minute(watch->now()));
    tape->sync(watch->now());
    forget_old_tapes();
  }
  const auto now = std::chrono::steady_clock::now();
  if (const auto every = notifier.alive_every(); every && now >= alive_at) {
    notifier.alive();
    alive_at = now + *every;
  }
  timer.after(kTick, [this] { tick(); });
}

void Service::Impl::stop() {
  if (stopping) return;
  stopping = true;
  notifier.stopping();
  control.reset();
  plugins->stop_all([this] { loop.stop(); });
}

int Service::Impl::run() {
  spdlog::set_pattern("%v");
  if (!load()) return 1;
  std::error_code error;
  std::filesystem::create_directories(options.state / "tapes", error);
  if (error) {
    fmt::print(stderr, "underwingd: cannot make the state folder {}: {}\n", options.state.string(), error.message());
    return 2;
  }
  open_memory();
  begin();
  start_plugins();
  if (!options.socket.empty()) {
    auto opened_control = ControlServer::listen(loop, options.socket, [this](const std::shared_ptr<ControlCall>& call) {
      const auto answer = command(call->method(), call->params());
      apply();
      if (answer.ok()) call->succeed(*answer);
      else call->fail(kCommandRefused, answer.error());
    });
    if (!opened_control.ok()) {
      fmt::print(stderr, "underwingd: {}\n", opened_control.error());
      return 2;
    }
    control = std::move(*opened_control);
  }
  loop.on_signals({SIGINT, SIGTERM}, [this](int) { stop(); });
  // What was on its way when the last run ended is handed over once more, under the same name.
  for (const Delivery& delivery : std::exchange(on_their_way, {})) hand(delivery);
  if (options.time_from_readings) {
    log("Engine time is the readings' time: nothing moves between readings.");
  } else {
    for (const std::string& line : Story::opening(*watch)) log(line);
    apply();
  }
  notifier.ready();
  tick();
  loop.run();
  if (watch->now() != Instant{}) {
    recorder->mark_time();
    flush_minutes(kNever);
    JournalTransaction last;
    last.rows.emplace_back(SnapshotRow{watch->now(), watch->snapshot()});
    journal->submit(std::move(last));
  }
  plugins.reset();
  tape.reset();
  journal.reset();
  return 0;
}

}  // namespace underwing
