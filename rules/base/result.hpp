#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <variant>

namespace underwing {

/// What went wrong in the world (a lost broker, a full disk), as one sentence without a stop at the end.
/// Context is added on the way up: "cannot sync journal.db: No space left on device".
struct Failure {
  std::string text;
};

/// A value, or the text of what went wrong. Reading the side that is not there ends the process: that is a
/// mistake of ours, never of the world.
template <typename T>
class [[nodiscard]] Result {
 public:
  Result(T value) : state_(std::move(value)) {}                // NOLINT: a value converts by itself
  Result(Failure failure) : state_(std::move(failure)) {}      // NOLINT: so that `return Failure{…}` works

  [[nodiscard]] bool ok() const noexcept { return state_.index() == 0; }
  explicit operator bool() const noexcept { return ok(); }

  [[nodiscard]] T& value() & noexcept { return std::get<0>(state_); }
  [[nodiscard]] const T& value() const& noexcept { return std::get<0>(state_); }
  [[nodiscard]] T&& value() && noexcept { return std::get<0>(std::move(state_)); }
  [[nodiscard]] T& operator*() noexcept { return value(); }
  [[nodiscard]] const T& operator*() const noexcept { return value(); }
  T* operator->() noexcept { return &value(); }
  const T* operator->() const noexcept { return &value(); }

  [[nodiscard]] const std::string& error() const noexcept { return std::get<1>(state_).text; }

  /// The same failure with "context: " before it.
  [[nodiscard]] Failure failure_in(std::string_view context) const {
    return Failure{std::string(context) + ": " + error()};
  }

 private:
  std::variant<T, Failure> state_;
};

/// Done, or the text of what went wrong.
template <>
class [[nodiscard]] Result<void> {
 public:
  Result() = default;
  Result(Failure failure) : failure_(std::move(failure)) {}  // NOLINT: so that `return Failure{…}` works

  [[nodiscard]] bool ok() const noexcept { return !failure_; }
  explicit operator bool() const noexcept { return ok(); }
  [[nodiscard]] const std::string& error() const noexcept { return failure_.value().text; }
  [[nodiscard]] Failure failure_in(std::string_view context) const {
    return Failure{std::string(context) + ": " + error()};
  }

 private:
  std::optional<Failure> failure_;
};

}  // namespace underwing
