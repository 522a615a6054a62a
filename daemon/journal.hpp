#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "rules/base/result.hpp"
#include "rules/base/time.hpp"

/// The daemon's memory in SQLite: what happened, who was told, who answered. Written by a thread of its own over
/// one connection, in WAL with synchronous=FULL, so that what was reported as written outlives a power cut.
namespace underwing {

/// Rows are written again under the same id without harm; the later one stands. `json` holds what has no column.
struct AlarmRow {
  std::uint64_t id = 0;
  std::string code, house, rule, probe, state, priority;
  Instant raised{};
  std::optional<Instant> returned;
  std::string json;
};

struct EventRow {
  std::uint64_t id = 0;  ///< counted up by the caller, from Journal::last_ids()
  Instant time{};
  std::string kind;      ///< raised, returned, blind, told …
  std::string house, rule;
  std::string json;
};

struct DeliveryRow {
  std::string id;
  Instant time{};
  std::string who, by;
  std::string outcome;   ///< "open" until something is known
  std::string json;
};

/// An acknowledgement or any other reply of a person.
struct AnswerRow {
  std::uint64_t id = 0;
  Instant time{};
  std::string who, by, text;
  std::string json;
};

/// A value entered by a person on a round.
struct RoundRow {
  std::uint64_t id = 0;
  Instant time{};
  std::string house, measure;
  double value = 0;
  std::string who, json;
};

struct MinuteRow {
  Instant minute{};
  std::string series;
  double low = 0, mean = 0, high = 0;
  std::uint32_t count = 0;
};

/// The watch's state. Only the newest three are kept.
struct SnapshotRow {
  Instant time{};
  std::string json;
};

/// Lets go of what is old, a few thousand rows at a time so that nobody waits for it: minutes from before `minutes_before`, all else from
/// before `records_before`, and while the rows take more than `bytes_max`, the oldest minutes, too, up to `minutes_needed`. Alarms that stand or
/// wait for an answer, deliveries on their way and snapshots are never let go of. The file does not shrink, but its room is used again.
struct ForgetRow {
  Instant records_before{}, minutes_before{}, minutes_needed{};
  std::uint64_t bytes_max = 0;
};

/// How many rows were let go of.
struct JournalForgotten {
  std::size_t minutes = 0, records = 0;
};

using JournalRow = std::variant<AlarmRow, EventRow, DeliveryRow, AnswerRow, RoundRow, MinuteRow, SnapshotRow, ForgetRow>;

/// Written whole or not at all.
struct JournalTransaction {
  std::vector<JournalRow> rows;
  /// May be dropped, oldest first, when the disk does not keep up: minutes. All else is kept until written.
  bool droppable = false;
  /// Called once, through `post`: done when it is on the disk; a failure only when it never will be.
  std::function<void(Result<void>)> done;
};

struct JournalOptions {
  std::filesystem::path path;  ///< of the database; its folder is made
  /// Runs a function in the caller's thread; the journal calls nothing of the caller's elsewhere.
  std::function<void(std::function<void()>)> post;
  /// The disk failed (the text says how), or works again (empty). Once for each change.
  std::function<void(const std::string& problem)> on_problem;
  Duration retry_after = std::chrono::seconds(1);
  std::size_t droppable_rows_max = 100'000;
  /// Rows were let go of.
  std::function<void(const JournalForgotten&)> on_forgotten{};
};

struct JournalIds {
  std::uint64_t alarm = 0, event = 0, answer = 0, round = 0;
};

class Journal {
 public:
  /// Opens or makes the database before it returns. A database that is damaged is set aside under the name
  /// "….damaged" and a new one begun; what else fails is told by on_problem and tried again: the watch starts
  /// without a disk, too.
  explicit Journal(JournalOptions options);
  /// Writes what waits, for at most 2 s while the disk fails, and tells the rest that it was not written.
  /// `done` of these runs in the destructor's thread.
  ~Journal();
  Journal(const Journal&) = delete;
  Journal& operator=(const Journal&) = delete;

  /// Never waits for the disk.
  void submit(JournalTransaction transaction);

  [[nodiscard]] std::string problem() const;          ///< empty while the disk works
  [[nodiscard]] std::size_t waiting() const;          ///< transactions not yet on the disk
  [[nodiscard]] std::uint64_t rows_dropped() const;

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

/// Reads a journal over a connection of its own that cannot write; also while a Journal writes.
class JournalReader {
 public:
  static Result<JournalReader> open(const std::filesystem::path& path);
  ~JournalReader();
  JournalReader(JournalReader&&) noexcept;
  JournalReader& operator=(JournalReader&&) noexcept;

  Result<std::optional<SnapshotRow>> last_snapshot();
  Result<JournalIds> last_ids();
  Result<std::vector<DeliveryRow>> open_deliveries();
  Result<std::vector<AlarmRow>> alarms_since(Instant raised);  ///< and those that have not returned
  Result<std::vector<EventRow>> events_since(Instant time);
  Result<std::vector<AnswerRow>> answers_since(Instant time);
  Result<std::vector<RoundRow>> rounds_since(Instant time);
  Result<std::vector<MinuteRow>> minutes(const std::string& series, Instant from, Instant until);
  /// Visits the minutes of all probes of a house, minute by minute in order.
  Result<void> minutes_of_house(const std::string& house, Instant from, Instant until, const std::function<void(const MinuteRow&)>& visit);
  /// Empty where SQLite finds the whole database sound, else its first complaint.
  Result<std::string> check();

 private:
  struct Impl;
  explicit JournalReader(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

}  // namespace underwing
