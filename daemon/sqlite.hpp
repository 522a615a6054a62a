#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

#include <sqlite3.h>

#include "rules/base/result.hpp"
#include "rules/base/time.hpp"

/// A thin cover over SQLite for the journal's sources.
namespace underwing {

struct SqliteCloser {
  void operator()(sqlite3* database) const { sqlite3_close_v2(database); }
};
using Database = std::unique_ptr<sqlite3, SqliteCloser>;

inline Failure sqlite_failure(sqlite3* database, std::string_view what) {
  return Failure{std::string(what) + ": " + (database != nullptr ? sqlite3_errmsg(database) : "out of memory")};
}

/// A prepared statement. Binding counts up from the first parameter, reading from the first column.
class Statement {
 public:
  Statement(sqlite3* database, std::string_view sql) {
    sqlite3_prepare_v3(database, sql.data(), static_cast<int>(sql.size()), SQLITE_PREPARE_PERSISTENT, &handle_, nullptr);
  }
  ~Statement() { sqlite3_finalize(handle_); }
  Statement(Statement&& other) noexcept : handle_(std::exchange(other.handle_, nullptr)) {}
  Statement& operator=(Statement&&) = delete;
  explicit operator bool() const { return handle_ != nullptr; }

  Statement& reset() {
    sqlite3_reset(handle_);
    bound_ = 0;
    return *this;
  }
  Statement& operator<<(std::string_view text) {
    sqlite3_bind_text(handle_, ++bound_, text.data(), static_cast<int>(text.size()), SQLITE_TRANSIENT);
    return *this;
  }
  Statement& operator<<(std::uint64_t number) {
    sqlite3_bind_int64(handle_, ++bound_, static_cast<sqlite3_int64>(number));
    return *this;
  }
  Statement& operator<<(double number) {
    sqlite3_bind_double(handle_, ++bound_, number);
    return *this;
  }
  Statement& operator<<(Instant time) {
    sqlite3_bind_int64(handle_, ++bound_, time.time_since_epoch().count());
    return *this;
  }
  Statement& operator<<(const std::optional<Instant>& time) {
    if (time) return *this << *time;
    sqlite3_bind_null(handle_, ++bound_);
    return *this;
  }

  /// SQLITE_ROW, SQLITE_DONE or an error.
  int step() {
    column_ = 0;
    return sqlite3_step(handle_);
  }
  Statement& operator>>(std::string& text) {
    const auto* bytes = sqlite3_column_text(handle_, column_);
    const auto size = static_cast<std::size_t>(sqlite3_column_bytes(handle_, column_++));
    text.assign(reinterpret_cast<const char*>(bytes), bytes != nullptr ? size : 0);
    return *this;
  }
  Statement& operator>>(std::uint64_t& number) {
    number = static_cast<std::uint64_t>(sqlite3_column_int64(handle_, column_++));
    return *this;
  }
  Statement& operator>>(std::uint32_t& number) {
    number = static_cast<std::uint32_t>(sqlite3_column_int64(handle_, column_++));
    return *this;
  }
  Statement& operator>>(double& number) {
    number = sqlite3_column_double(handle_, column_++);
    return *this;
  }
  Statement& operator>>(Instant& time) {
    time = Instant(Duration(sqlite3_column_int64(handle_, column_++)));
    return *this;
  }
  Statement& operator>>(std::optional<Instant>& time) {
    time.reset();
    if (sqlite3_column_type(handle_, column_) != SQLITE_NULL) time = Instant(Duration(sqlite3_column_int64(handle_, column_)));
    ++column_;
    return *this;
  }

 private:
  sqlite3_stmt* handle_ = nullptr;
  int bound_ = 0;
  int column_ = 0;
};

}  // namespace underwing
