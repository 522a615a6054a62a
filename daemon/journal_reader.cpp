#include "daemon/journal.hpp"
#include "daemon/sqlite.hpp"

namespace underwing {

struct JournalReader::Impl {
  Database database;

  /// All rows of a query; `read` takes one off the statement.
  template <typename Row, typename Read, typename... Values>
  Result<std::vector<Row>> rows(std::string_view sql, const Read& read, const Values&... values) {
    Statement statement(database.get(), sql);
    if (!statement) return failure();
    static_cast<void>((statement << ... << values));
    std::vector<Row> all;
    int code = statement.step();
    for (; code == SQLITE_ROW; code = statement.step()) read(statement, all.emplace_back());
    if (code != SQLITE_DONE) return failure();
    return all;
  }
  [[nodiscard]] Failure failure() const { return sqlite_failure(database.get(), "cannot read the journal"); }
};

JournalReader::JournalReader(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
JournalReader::~JournalReader() = default;
JournalReader::JournalReader(JournalReader&&) noexcept = default;
JournalReader& JournalReader::operator=(JournalReader&&) noexcept = default;

Result<JournalReader> JournalReader::open(const std::filesystem::path& path) {
  auto impl = std::make_unique<Impl>();
  sqlite3* handle = nullptr;
  const int code = sqlite3_open_v2(path.c_str(), &handle, SQLITE_OPEN_READONLY, nullptr);
  impl->database.reset(handle);
  if (code != SQLITE_OK) return sqlite_failure(handle, "cannot read the journal " + path.string());
  sqlite3_busy_timeout(handle, 1000);
  return JournalReader(std::move(impl));
}

Result<std::optional<SnapshotRow>> JournalReader::last_snapshot() {
  auto found = impl_->rows<SnapshotRow>("SELECT time, json FROM snapshots ORDER BY time DESC LIMIT 1",
                                        [](Statement& from, SnapshotRow& row) { from >> row.time >> row.json; });
  if (!found) return Failure{found.error()};
  if (found->empty()) return std::optional<SnapshotRow>();
  return std::optional<SnapshotRow>(std::move(found->front()));
}

Result<JournalIds> JournalReader::last_ids() {
  auto found = impl_->rows<JournalIds>(
      "SELECT (SELECT max(id) FROM alarms), (SELECT max(id) FROM events), (SELECT max(id) FROM answers), "
      "(SELECT max(id) FROM rounds)",
      [](Statement& from, JournalIds& ids) { from >> ids.alarm >> ids.event >> ids.answer >> ids.round; });
  if (!found) return Failure{found.error()};
  return found->front();
}

Result<std::vector<DeliveryRow>> JournalReader::open_deliveries() {
  return impl_->rows<DeliveryRow>(
      "SELECT id, time, who, by, outcome, json FROM deliveries WHERE outcome = 'open' ORDER BY time, id",
      [](Statement& from, DeliveryRow& row) { from >> row.id >> row.time >> row.who >> row.by >> row.outcome >> row.json; });
}

Result<std::vector<AlarmRow>> JournalReader::alarms_since(Instant raised) {
  return impl_->rows<AlarmRow>(
      "SELECT id, code, house, rule, probe, state, priority, raised, returned, json FROM alarms "
      "WHERE raised >= ? OR returned IS NULL ORDER BY raised, id",
      [](Statement& from, AlarmRow& row) {
        from >> row.id >> row.code >> row.house >> row.rule >> row.probe >> row.state >> row.priority >> row.raised >>
            row.returned >> row.json;
      },
      raised);
}

Result<std::vector<EventRow>> JournalReader::events_since(Instant time) {
  return impl_->rows<EventRow>(
      "SELECT id, time, kind, house, rule, json FROM events WHERE time >= ? ORDER BY time, id",
      [](Statement& from, EventRow& row) { from >> row.id >> row.time >> row.kind >> row.house >> row.rule >> row.json; },
      time);
}

Result<std::vector<AnswerRow>> JournalReader::answers_since(Instant time) {
  return impl_->rows<AnswerRow>(
      "SELECT id, time, who, by, text, json FROM answers WHERE time >= ? ORDER BY time, id",
      [](Statement& from, AnswerRow& row) { from >> row.id >> row.time >> row.who >> row.by >> row.text >> row.json; }, time);
}

Result<std::vector<RoundRow>> JournalReader::rounds_since(Instant time) {
  return impl_->rows<RoundRow>(
      "SELECT id, time, house, measure, value, who, json FROM rounds WHERE time >= ? ORDER BY time, id",
      [](Statement& from, RoundRow& row) {
        from >> row.id >> row.time >> row.house >> row.measure >> row.value >> row.who >> row.json;
      },
      time);
}

Result<std::vector<MinuteRow>> JournalReader::minutes(const std::string& series, Instant from, Instant until) {
  return impl_->rows<MinuteRow>(
      "SELECT minute, series, low, mean, high, count FROM minutes WHERE series = ? AND minute >= ? AND minute < ? "
      "ORDER BY minute",
      [](Statement& source, MinuteRow& row) {
        source >> row.minute >> row.series >> row.low >> row.mean >> row.high >> row.count;
      },
      series, from, until);
}

Result<void> JournalReader::minutes_of_house(const std::string& house, Instant from, Instant until, const std::function<void(const MinuteRow&)>& visit) {
  // The key begins with the minute: asked for one minute at a time, the other houses' rows are not even looked at.
  Statement statement(impl_->database.get(),
                      "SELECT minute, series, low, mean, high, count FROM minutes WHERE minute = ? AND series > ? AND series < ? ORDER BY series");
  if (!statement) return impl_->failure();
  MinuteRow row;
  for (Instant minute = ceil_minute(from); minute < until; minute += std::chrono::minutes(1)) {
    statement.reset() << minute << house + "/" << house + "0";  // '0' comes after '/'
    int code = statement.step();
    for (; code == SQLITE_ROW; code = statement.step()) {
      statement >> row.minute >> row.series >> row.low >> row.mean >> row.high >> row.count;
      visit(row);
    }
    if (code != SQLITE_DONE) return impl_->failure();
  }
  return {};
}

Result<std::string> JournalReader::check() {
  auto found = impl_->rows<std::string>("PRAGMA integrity_check(1)",
                                        [](Statement& from, std::string& text) { from >> text; });
  if (!found) return Failure{found.error()};
  return found->front() == "ok" ? std::string() : found->front();
}

}  // namespace underwing
