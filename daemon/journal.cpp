#include "daemon/journal.hpp"

#include <array>
#include <condition_variable>
#include <deque>
#include <mutex>
#include <thread>

#include "daemon/journal_keep.hpp"
#include "daemon/sqlite.hpp"

namespace underwing {
namespace {

constexpr int kFormat = 1;
constexpr std::size_t kGroup_transactions_max = 500;
constexpr std::uintmax_t kChecked_bytes_max = 256U << 20U;
constexpr auto kFarewell = std::chrono::seconds(2);

/// Times are milliseconds since 1970, UTC. Minutes come minute by minute, so that is their key's order:
/// the other way round was 27 times slower (measured, 500 series).
constexpr const char* kSchema = R"(
CREATE TABLE IF NOT EXISTS meta (key TEXT PRIMARY KEY, value TEXT);
CREATE TABLE IF NOT EXISTS alarms (id INTEGER PRIMARY KEY, code TEXT, house TEXT, rule TEXT, probe TEXT, state TEXT,
  priority TEXT, raised INTEGER, returned INTEGER, json TEXT);
CREATE INDEX IF NOT EXISTS alarms_by_time ON alarms (raised);
CREATE TABLE IF NOT EXISTS events (id INTEGER PRIMARY KEY, time INTEGER, kind TEXT, house TEXT, rule TEXT, json TEXT);
CREATE INDEX IF NOT EXISTS events_by_time ON events (time);
CREATE TABLE IF NOT EXISTS deliveries (id TEXT PRIMARY KEY, time INTEGER, who TEXT, by TEXT, outcome TEXT, json TEXT);
CREATE INDEX IF NOT EXISTS deliveries_open ON deliveries (time) WHERE outcome = 'open';
CREATE TABLE IF NOT EXISTS answers (id INTEGER PRIMARY KEY, time INTEGER, who TEXT, by TEXT, text TEXT, json TEXT);
CREATE TABLE IF NOT EXISTS rounds (id INTEGER PRIMARY KEY, time INTEGER, house TEXT, measure TEXT, value REAL, who TEXT, json TEXT);
CREATE TABLE IF NOT EXISTS minutes (minute INTEGER, series TEXT, low REAL, mean REAL, high REAL, count INTEGER,
  PRIMARY KEY (minute, series)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS snapshots (time INTEGER PRIMARY KEY, json TEXT);
INSERT OR IGNORE INTO meta VALUES ('format', '1');
)";

bool run(sqlite3* database, const char* sql) { return sqlite3_exec(database, sql, nullptr, nullptr, nullptr) == SQLITE_OK; }

/// One connection and its statements.
class JournalWriter {
 public:
  static Result<std::unique_ptr<JournalWriter>> open(const std::filesystem::path& path) {
    auto writer = std::unique_ptr<JournalWriter>(new JournalWriter);
    sqlite3* handle = nullptr;
    const int code = sqlite3_open_v2(path.c_str(), &handle, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, nullptr);
    writer->database_.reset(handle);
    const std::string what = "cannot open the journal " + path.string();
    if (code != SQLITE_OK) return sqlite_failure(handle, what);
    sqlite3_busy_timeout(handle, 1000);
    const bool ready = run(handle, "PRAGMA journal_mode=WAL") && run(handle, "PRAGMA synchronous=FULL") &&
                       run(handle, "PRAGMA mmap_size=0") && run(handle, "PRAGMA journal_size_limit=16777216") &&
                       run(handle, kSchema);
    if (!ready) return sqlite_failure(handle, what);
    if (auto format = writer->check_format(); !format) return format.failure_in(what);
    writer->prepare();
    return writer;
  }

  /// True where the file is no sound database. A large one is not read through: the watch must start soon.
  static bool is_damaged(const std::filesystem::path& path) {
    sqlite3* handle = nullptr;
    if (sqlite3_open_v2(path.c_str(), &handle, SQLITE_OPEN_READWRITE, nullptr) != SQLITE_OK) {
      sqlite3_close_v2(handle);
      return false;
    }
    const Database database(handle);
    std::error_code ignored;
    const bool small = std::filesystem::file_size(path, ignored) < kChecked_bytes_max;
    Statement check(handle, small ? "PRAGMA quick_check(1)" : "SELECT 'ok' FROM sqlite_schema");
    const int code = check ? check.step() : sqlite3_errcode(handle);
    if (code != SQLITE_ROW) return code == SQLITE_CORRUPT || code == SQLITE_NOTADB;
    std::string answer;
    check >> answer;
    return answer != "ok";
  }

  /// What the last write let go of.
  [[nodiscard]] const JournalForgotten& forgotten() const { return forgotten_; }

  Result<void> write(const std::vector<const JournalTransaction*>& group) {
    forgotten_ = {};
    if (!run(handle(), "BEGIN IMMEDIATE")) return failure();
    for (const auto* transaction : group) {
      for (const auto& row : transaction->rows) {
        if (std::visit([this](const auto& one) { return insert(one); }, row)) continue;
        const Failure why = failure();
        run(handle(), "ROLLBACK");
        return why;
      }
    }
    if (run(handle(), "COMMIT")) return {};
    const Failure why = failure();
    run(handle(), "ROLLBACK");
    return why;
  }

 private:
  JournalWriter() = default;
  [[nodiscard]] sqlite3* handle() const { return database_.get(); }
  [[nodiscard]] Failure failure() const { return sqlite_failure(handle(), "cannot write the journal"); }

  Result<void> check_format() {
    Statement statement(handle(), "SELECT value FROM meta WHERE key = 'format'");
    std::string format;
    if (statement && statement.step() == SQLITE_ROW) statement >> format;
    if (format == std::to_string(kFormat)) return {};
    return Failure{"it has format '" + format + "', this version knows format " + std::to_string(kFormat)};
  }

  void prepare() {
    constexpr std::array<const char*, 7> kInserts = {
        "INSERT OR REPLACE INTO alarms VALUES (?,?,?,?,?,?,?,?,?,?)",
        "INSERT OR REPLACE INTO events VALUES (?,?,?,?,?,?)",
        "INSERT OR REPLACE INTO deliveries VALUES (?,?,?,?,?,?)",
        "INSERT OR REPLACE INTO answers VALUES (?,?,?,?,?,?)",
        "INSERT OR REPLACE INTO rounds VALUES (?,?,?,?,?,?,?)",
        "INSERT OR REPLACE INTO minutes VALUES (?,?,?,?,?,?)",
        "INSERT OR REPLACE INTO snapshots VALUES (?,?)",
    };
    for (const char* sql : kInserts) statements_.emplace_back(handle(), sql);
    forget_snapshots_.emplace(
        handle(), "DELETE FROM snapshots WHERE time NOT IN (SELECT time FROM snapshots ORDER BY time DESC LIMIT 3)");
  }

  template <typename... Values>
  bool insert_into(std::size_t statement, const Values&... values) {
    Statement& insert = statements_[statement].reset();
    (insert << ... << values);
    const bool done = insert.step() == SQLITE_DONE;
    insert.reset();
    return done;
  }
  bool insert(const AlarmRow& row) {
    return insert_into(0, row.id, row.code, row.house, row.rule, row.probe, row.state, row.priority, row.raised,
                       row.returned, row.json);
  }
  bool insert(const EventRow& row) { return insert_into(1, row.id, row.time, row.kind, row.house, row.rule, row.json); }
  bool insert(const DeliveryRow& row) { return insert_into(2, row.id, row.time, row.who, row.by, row.outcome, row.json); }
  bool insert(const AnswerRow& row) { return insert_into(3, row.id, row.time, row.who, row.by, row.text, row.json); }
  bool insert(const RoundRow& row) {
    return insert_into(4, row.id, row.time, row.house, row.measure, row.value, row.who, row.json);
  }
  bool insert(const MinuteRow& row) {
    return insert_into(5, row.minute, row.series, row.low, row.mean, row.high, std::uint64_t{row.count});
  }
  bool insert(const SnapshotRow& row) {
    if (!insert_into(6, row.time, row.json)) return false;
    const bool done = forget_snapshots_->step() == SQLITE_DONE;
    forget_snapshots_->reset();
    return done;
  }

  bool insert(const ForgetRow& row) { return forget_rows(handle(), row, forgotten_); }

  Database database_;
  JournalForgotten forgotten_;
  std::vector<Statement> statements_;
  std::optional<Statement> forget_snapshots_;
};

void set_aside(const std::filesystem::path& path) {
  std::error_code ignored;
  for (const char* part : {"", "-wal", "-shm"}) {
    std::filesystem::rename(path.string() + part, path.string() + ".damaged" + part, ignored);
  }
}

}  // namespace

struct Journal::Impl {
  JournalOptions options;
  std::unique_ptr<JournalWriter> writer;  ///< the thread's own, once that runs

  mutable std::mutex mutex;
  std::condition_variable wake;
  std::deque<JournalTransaction> queue;
  std::size_t in_hand = 0;                ///< the first ones of `queue` that are being written
  std::size_t droppable_rows = 0;
  std::uint64_t dropped = 0;
  std::string problem;
  bool ending = false;
  std::thread thread;

  void report(const std::string& now_wrong) {
    {
      const std::lock_guard lock(mutex);
      // The wording may change from try to try; whether it works is what matters.
      if (problem.empty() == now_wrong.empty()) return;
      problem = now_wrong;
    }
    if (options.on_problem && options.post) options.post([tell = options.on_problem, now_wrong] { tell(now_wrong); });
  }

  bool open_writer() {
    if (writer) return true;
    std::error_code code;
    std::filesystem::create_directories(options.path.parent_path(), code);
    auto opened = JournalWriter::open(options.path);
    if (!opened) {
      report(opened.error());
      return false;
    }
    writer = std::move(opened).value();
    return true;
  }

  std::vector<const JournalTransaction*> take_group() {
    std::vector<const JournalTransaction*> group;
    const std::lock_guard lock(mutex);
    in_hand = std::min(queue.size(), kGroup_transactions_max);
    for (std::size_t i = 0; i < in_hand; ++i) group.push_back(&queue[i]);
    return group;
  }

  void settle_group() {
    std::vector<JournalTransaction> written;
    {
      const std::lock_guard lock(mutex);
      for (; in_hand > 0; --in_hand) {
        if (queue.front().droppable) droppable_rows -= queue.front().rows.size();
        written.push_back(std::move(queue.front()));
        queue.pop_front();
      }
    }
    for (auto& transaction : written) {
      if (transaction.done && options.post) options.post([done = std::move(transaction.done)] { done({}); });
    }
  }

  bool write_group() {
    if (!open_writer()) return false;
    const auto written = writer->write(take_group());
    if (!written) {
      report(written.error());
      // A connection that failed may hold pages that it counts as written.
      writer.reset();
      const std::lock_guard lock(mutex);
      in_hand = 0;
      return false;
    }
    const JournalForgotten gone = writer->forgotten();
    settle_group();
    if (gone.minutes + gone.records > 0 && options.on_forgotten && options.post) options.post([tell = options.on_forgotten, gone] { tell(gone); });
    report({});
    return true;
  }

  void work() {
    std::unique_lock lock(mutex);
    auto farewell = std::chrono::steady_clock::time_point::max();
    for (bool failed = false;;) {
      if (failed) wake.wait_for(lock, options.retry_after, [&] { return ending && farewell == farewell.max(); });
      else wake.wait(lock, [&] { return ending || !queue.empty(); });
      if (ending && farewell == farewell.max()) farewell = std::chrono::steady_clock::now() + kFarewell;
      if (ending && (queue.empty() || (failed && std::chrono::steady_clock::now() >= farewell))) return;
      lock.unlock();
      failed = !write_group();
      lock.lock();
    }
  }

  /// Makes room among the droppable ones that are not being written.
  void drop_oldest() {
    for (auto it = queue.begin() + static_cast<std::ptrdiff_t>(in_hand);
         it != queue.end() && droppable_rows > options.droppable_rows_max; ++it) {
      if (!it->droppable || it->rows.empty()) continue;
      droppable_rows -= it->rows.size();
      dropped += it->rows.size();
      it->rows.clear();
    }
  }
};

Journal::Journal(JournalOptions options) : impl_(std::make_unique<Impl>()) {
  impl_->options = std::move(options);
  if (JournalWriter::is_damaged(impl_->options.path)) set_aside(impl_->options.path);
  impl_->open_writer();
  impl_->thread = std::thread([this] { impl_->work(); });
}

Journal::~Journal() {
  {
    const std::lock_guard lock(impl_->mutex);
    impl_->ending = true;
  }
  impl_->wake.notify_all();
  impl_->thread.join();
  for (auto& transaction : impl_->queue) {
    if (transaction.done) transaction.done(Failure{"the journal was closed before it was written"});
  }
}

void Journal::submit(JournalTransaction transaction) {
  {
    const std::lock_guard lock(impl_->mutex);
    if (transaction.droppable) impl_->droppable_rows += transaction.rows.size();
    impl_->queue.push_back(std::move(transaction));
    if (impl_->droppable_rows > impl_->options.droppable_rows_max) impl_->drop_oldest();
  }
  impl_->wake.notify_all();
}

std::string Journal::problem() const {
  const std::lock_guard lock(impl_->mutex);
  return impl_->problem;
}

std::size_t Journal::waiting() const {
  const std::lock_guard lock(impl_->mutex);
  return impl_->queue.size();
}

std::uint64_t Journal::rows_dropped() const {
  const std::lock_guard lock(impl_->mutex);
  return impl_->dropped;
}

}  // namespace underwing
