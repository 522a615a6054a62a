#include "daemon/senml_line.hpp"

#include <array>
#include <cstdint>

namespace underwing {

namespace {

constexpr std::size_t kNameLengthMax = 255;
constexpr int kTimeDigitsMax = 11;                   // up to the year 5138
constexpr int kExactDigitsMax = 15;                  // whole numbers and powers of ten that a double holds exactly:
constexpr std::array<double, 16> kPowersOfTen = {    // their quotient is the nearest double (Clinger, How to read
    1e0, 1e1, 1e2,  1e3,  1e4,  1e5,  1e6,  1e7,     // floating point numbers accurately, PLDI 1990)
    1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15};

constexpr bool is_digit(char c) { return c >= '0' && c <= '9'; }

/// Takes one thing after another off the front of a line.
class Front {
 public:
  explicit Front(std::string_view line) : at_(line.data()), end_(line.data() + line.size()) {}

  bool take(std::string_view literal) {
    if (!std::string_view(at_, left()).starts_with(literal)) return false;
    at_ += literal.size();
    return true;
  }

  /// A text of name characters, its closing quote included.
  bool take_name(std::string_view& name) {
    const char* begin = at_;
    while (at_ != end_ && kSenmlNameCharacters[static_cast<unsigned char>(*at_)]) ++at_;
    name = {begin, static_cast<std::size_t>(at_ - begin)};
    const bool fine = !name.empty() && name.size() <= kNameLengthMax && name.find_first_of("-:./_") != 0;
    return fine && take("\"");
  }

  /// A text of ASCII without escapes, its closing quote included.
  bool take_plain(std::string_view& text) {
    const char* begin = at_;
    while (at_ != end_ && *at_ >= ' ' && *at_ <= '~' && *at_ != '"' && *at_ != '\\') ++at_;
    text = {begin, static_cast<std::size_t>(at_ - begin)};
    return take("\"");
  }

  /// Digits without a leading zero; at most `digits_max`.
  bool take_whole(std::int64_t& number, int& digits, int digits_max) {
    if (at_ == end_ || !is_digit(*at_)) return false;
    const bool zero = *at_ == '0';
    for (digits = 0; at_ != end_ && is_digit(*at_); ++at_) {
      if (++digits > digits_max) return false;
      number = number * 10 + (*at_ - '0');
    }
    return !zero || digits == 1;
  }

  /// The digits after a point, if there is one: `number` goes on with them.
  bool take_fraction(std::int64_t& number, int& places, int places_max) {
    places = 0;
    if (!take(".")) return true;
    for (; at_ != end_ && is_digit(*at_); ++at_) {
      if (++places > places_max) return false;
      number = number * 10 + (*at_ - '0');
    }
    return places > 0;
  }

  [[nodiscard]] bool at_end() const { return at_ == end_; }

 private:
  [[nodiscard]] std::size_t left() const { return static_cast<std::size_t>(end_ - at_); }

  const char* at_;
  const char* end_;
};

bool take_value(Front& front, double& value) {
  const bool negative = front.take("-");
  std::int64_t number = 0;
  int digits = 0, places = 0;
  if (!front.take_whole(number, digits, kExactDigitsMax)) return false;
  if (!front.take_fraction(number, places, kExactDigitsMax - digits)) return false;
  value = static_cast<double>(number) / kPowersOfTen[static_cast<std::size_t>(places)];
  if (negative) value = -value;
  return true;
}

bool take_time(Front& front, Instant& time) {
  std::int64_t number = 0;
  int digits = 0, places = 0;
  if (!front.take_whole(number, digits, kTimeDigitsMax) || number < kAbsolute_s) return false;
  if (!front.take_fraction(number, places, 3)) return false;
  for (; places < 3; ++places) number *= 10;
  time = Instant(Duration(number));
  return true;
}

}  // namespace

bool read_senml_line(std::string_view line, SenmlRecord& record) {
  Front front(line);
  if (!front.take("[{\"n\":\"") || !front.take_name(record.name)) return false;
  record.unit.reset();
  if (front.take(",\"u\":\"") && !front.take_plain(record.unit.emplace())) return false;
  if (!front.take(",\"v\":") || !take_value(front, record.value)) return false;
  if (!front.take(",\"t\":") || !take_time(front, record.time)) return false;
  record.timed = true;
  record.is_sum = false;
  return front.take("}]") && front.at_end();
}

}  // namespace underwing
