#include "daemon/journal_keep.hpp"

#include <array>

#include "daemon/sqlite.hpp"

namespace underwing {

namespace {

constexpr std::uint64_t kMinutesAtOnce = 2000;  // the largest farms add 500 a minute

/// Ids rise with time, so that the oldest rows are the first ones: no table is read through. Each takes the time before which it forgets.
constexpr std::array<const char*, 5> kForgetRecords = {
    "DELETE FROM alarms WHERE id IN (SELECT id FROM alarms WHERE state = 'normal' ORDER BY id LIMIT 500) AND returned < ?",
    "DELETE FROM events WHERE id IN (SELECT id FROM events ORDER BY id LIMIT 500) AND time < ?",
    "DELETE FROM deliveries WHERE rowid IN (SELECT rowid FROM deliveries WHERE outcome <> 'open' ORDER BY rowid LIMIT 500) AND time < ?",
    "DELETE FROM answers WHERE id IN (SELECT id FROM answers ORDER BY id LIMIT 500) AND time < ?",
    "DELETE FROM rounds WHERE id IN (SELECT id FROM rounds ORDER BY id LIMIT 500) AND time < ?",
};
constexpr const char* kForgetMinutes =
    "DELETE FROM minutes WHERE (minute, series) IN (SELECT minute, series FROM minutes WHERE minute < ? ORDER BY minute, series LIMIT ?)";

std::uint64_t number_of(sqlite3* database, const char* question) {
  Statement statement(database, question);
  std::uint64_t number = 0;
  if (statement && statement.step() == SQLITE_ROW) statement >> number;
  return number;
}

/// What the rows take; pages that are free are used again.
std::uint64_t bytes_in_use(sqlite3* database) {
  return (number_of(database, "PRAGMA page_count") - number_of(database, "PRAGMA freelist_count")) * number_of(database, "PRAGMA page_size");
}

}  // namespace

bool forget_rows(sqlite3* database, const ForgetRow& row, JournalForgotten& forgotten) {
  for (const char* sql : kForgetRecords) {
    Statement forget(database, sql);
    if (!forget) return false;
    forget << row.records_before;
    if (forget.step() != SQLITE_DONE) return false;
    forgotten.records += static_cast<std::size_t>(sqlite3_changes(database));
  }
  const bool too_large = bytes_in_use(database) > row.bytes_max;
  Statement forget(database, kForgetMinutes);
  if (!forget) return false;
  forget << (too_large ? std::max(row.minutes_before, row.minutes_needed) : row.minutes_before) << kMinutesAtOnce;
  if (forget.step() != SQLITE_DONE) return false;
  forgotten.minutes += static_cast<std::size_t>(sqlite3_changes(database));
  return true;
}

}  // namespace underwing
