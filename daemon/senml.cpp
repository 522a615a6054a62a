#include "daemon/senml.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <cstring>
#include <vector>

#include <simdjson.h>

#include "daemon/senml_line.hpp"

namespace underwing {
namespace {

namespace od = simdjson::ondemand;

constexpr std::size_t kNameLengthMax = 255;
constexpr double kTimeMax_s = 253'402'300'799;         // The end of the year 9999.
constexpr double kVersion = 10;                        // RFC 8428 section 4.4.
constexpr std::size_t kArenaBlock = 64 * 1024;

/// Characters whose addresses stay put until clear(); joined names live here.
class Arena {
 public:
  std::string_view join(std::string_view head, std::string_view tail) {
    const std::size_t size = head.size() + tail.size();
    if (blocks_.empty() || used_ + size > kArenaBlock) next_block();
    char* place = blocks_[block_].get() + used_;
    std::copy(tail.begin(), tail.end(), std::copy(head.begin(), head.end(), place));
    used_ += size;
    return {place, size};
  }
  void clear() {
    block_ = 0;
    used_ = 0;
  }

 private:
  void next_block() {
    block_ = blocks_.empty() ? 0 : block_ + 1;
    if (block_ == blocks_.size()) blocks_.push_back(std::make_unique<char[]>(kArenaBlock));
    used_ = 0;
  }
  std::vector<std::unique_ptr<char[]>> blocks_;
  std::size_t block_ = 0;
  std::size_t used_ = 0;
};

/// The labels of RFC 8428 section 4.3. A bit each, to notice one that stands twice.
enum Label : unsigned { bn, bt, bu, bv, bs, bver, n, u, v, vs, vb, vd, s, t, ut, label_count, unknown_label };

constexpr std::array<std::string_view, label_count> kLabels = {"bn", "bt", "bu", "bv", "bs", "bver", "n", "u",
                                                               "v",  "vs", "vb", "vd", "s",  "t",    "ut"};

Label label_of(std::string_view key) {
  for (unsigned i = 0; i < label_count; ++i) {
    if (kLabels[i] == key) return static_cast<Label>(i);
  }
  return unknown_label;
}

bool is_alphanumeric(char c) {
  return kSenmlNameCharacters[static_cast<unsigned char>(c)] && std::strchr("-:./_", c) == nullptr;
}

/// RFC 8428 section 4.5.1.
const char* fault_of_name(std::string_view name) {
  if (name.empty()) return "a record has no name";
  if (!is_alphanumeric(name.front())) return "a name does not begin with a letter or digit";
  for (const char c : name) {
    if (!kSenmlNameCharacters[static_cast<unsigned char>(c)]) return "a name has a character that SenML does not allow";
  }
  return nullptr;
}

/// The fields of one record as they stand, and the base fields in force.
struct Fields {
  unsigned seen = 0;
  std::string_view name, unit, text, data;
  double value = 0, sum = 0, time = 0;
  bool state = false;
  [[nodiscard]] bool has(Label label) const { return (seen & (1U << label)) != 0; }
};

struct Base {
  std::string_view name, unit;
  double time = 0, value = 0, sum = 0;
  unsigned seen = 0;
  [[nodiscard]] bool has(Label label) const { return (seen & (1U << label)) != 0; }
};

constexpr unsigned kBaseLabels = (1U << bn) | (1U << bt) | (1U << bu) | (1U << bv) | (1U << bs) | (1U << bver);

}  // namespace

struct SenmlParser::Impl {
  od::parser parser;
  std::vector<char> padded;
  std::vector<SenmlRecord> records;
  std::vector<SenmlRemark> remarks;
  Arena arena;
  const char* fault = nullptr;

  bool refuse(const char* reason) {
    fault = reason;
    return false;
  }

  bool text(od::value& json, std::string_view& target, const char* reason) {
    return json.get_string().get(target) == simdjson::SUCCESS || refuse(reason);
  }
  bool number(od::value& json, double& target, const char* reason) {
    return (json.get_double().get(target) == simdjson::SUCCESS && std::isfinite(target)) || refuse(reason);
  }

  bool read_field(Label label, od::value& json, Fields& fields, Base& base) {
    double ignored = 0;
    switch (label) {
      case bn: return text(json, base.name, "'bn' is not a text");
      case bt: return number(json, base.time, "'bt' is not a number");
      case bu: return text(json, base.unit, "'bu' is not a text");
      case bv: return number(json, base.value, "'bv' is not a number");
      case bs: return number(json, base.sum, "'bs' is not a number");
      case bver:
        if (!number(json, ignored, "'bver' is not a number")) return false;
        return ignored <= kVersion || refuse("the pack has a later SenML version than 10");
      case n: return text(json, fields.name, "'n' is not a text");
      case u: return text(json, fields.unit, "'u' is not a text");
      case v: return number(json, fields.value, "'v' is not a number");
      case vs: return text(json, fields.text, "'vs' is not a text");
      case vb: return json.get_bool().get(fields.state) == simdjson::SUCCESS || refuse("'vb' is neither true nor false");
      case vd: return text(json, fields.data, "'vd' is not a text");
      case s: return number(json, fields.sum, "'s' is not a number");
      case t: return number(json, fields.time, "'t' is not a number");
      case ut: return number(json, ignored, "'ut' is not a number");
      default: return true;
    }
  }

  bool read_record(od::object& object, Fields& fields, Base& base) {
    for (auto field_or_error : object) {
      od::field field;
      std::string_view key;
      if (std::move(field_or_error).get(field) != simdjson::SUCCESS || field.unescaped_key().get(key) != simdjson::SUCCESS) {
        return refuse("not JSON");
      }
      const Label label = label_of(key);
      if (label == unknown_label) {
        // RFC 8428 section 4.4: such a label must be understood, others are passed over.
        if (!key.empty() && key.back() == '_') return refuse("a label ends in '_' and is not known here");
        continue;
      }
      if (fields.has(label)) return refuse("a label stands twice in one record");
      fields.seen |= 1U << label;
      od::value json = field.value();
      if (!read_field(label, json, fields, base)) return false;
    }
    base.seen |= fields.seen & kBaseLabels;
    return true;
  }

  bool resolve_time(const Fields& fields, const Base& base, Instant now, Instant& time) {
    const double sum = base.time + fields.time;
    if (std::abs(sum) > kTimeMax_s) return refuse("a time is out of range");
    const auto ms = Duration(std::llround(sum * 1000.0));
    time = sum < static_cast<double>(kAbsolute_s) ? now + ms : Instant(ms);
    return true;
  }

  bool resolve(const Fields& fields, const Base& base, Instant now) {
    if ((fields.seen & ~kBaseLabels) == 0) return true;  // Only base fields: it measures nothing.
    const int values = fields.has(v) + fields.has(vs) + fields.has(vb) + fields.has(vd);
    if (values > 1) return refuse("a record has more than one value");

    if (base.name.size() + fields.name.size() > kNameLengthMax) return refuse("a name is longer than 255 characters");
    const std::string_view name = base.name.empty() ? fields.name : arena.join(base.name, fields.name);
    if (const char* wrong = fault_of_name(name)) return refuse(wrong);
    Instant time;
    if (!resolve_time(fields, base, now, time)) return false;
    const bool timed = fields.has(t) || base.has(bt);

    if (fields.has(vs) || fields.has(vd)) {
      remarks.push_back({name, fields.has(vs) ? fields.text : fields.data, time, timed});
      return true;
    }
    SenmlRecord record{name, std::nullopt, 0, time, timed, false};
    if (fields.has(u)) record.unit = fields.unit;
    else if (base.has(bu)) record.unit = base.unit;
    if (fields.has(vb)) {
      record.value = fields.state ? 1 : 0;
    } else if (fields.has(v) || (base.has(bv) && !fields.has(s))) {
      // Adding a base of nothing would turn -0 into 0.
      record.value = base.has(bv) ? base.value + fields.value : fields.value;
    } else if (fields.has(s) || base.has(bs)) {
      record.value = base.has(bs) ? base.sum + fields.sum : fields.sum;
      record.is_sum = true;
    } else {
      remarks.push_back({name, {}, time, timed});
      return true;
    }
    if (!std::isfinite(record.value)) return refuse("a value is out of range");
    records.push_back(record);
    return true;
  }

  bool read(std::string_view line, Instant now) {
    if (line.empty()) return refuse("not JSON");
    if (padded.size() < line.size() + simdjson::SIMDJSON_PADDING) {
      padded.resize(2 * line.size() + simdjson::SIMDJSON_PADDING);
    }
    std::memcpy(padded.data(), line.data(), line.size());
    od::document document;
    if (parser.iterate(padded.data(), line.size(), padded.size()).get(document) != simdjson::SUCCESS) {
      return refuse("not JSON");
    }
    od::array array;
    if (document.get_array().get(array) != simdjson::SUCCESS) return refuse("not a list of records");
    Base base;
    for (auto element : array) {
      od::object object;
      if (element.get_object().get(object) != simdjson::SUCCESS) return refuse("a record is not an object");
      Fields fields;
      if (!read_record(object, fields, base) || !resolve(fields, base, now)) return false;
    }
    return document.current_location().error() == simdjson::OUT_OF_BOUNDS || refuse("not JSON");
  }
};

SenmlParser::SenmlParser() : impl_(std::make_unique<Impl>()) {}
SenmlParser::~SenmlParser() = default;
SenmlParser::SenmlParser(SenmlParser&&) noexcept = default;
SenmlParser& SenmlParser::operator=(SenmlParser&&) noexcept = default;

Result<SenmlPack> SenmlParser::parse(std::string_view line, Instant now) noexcept {
  Impl& impl = *impl_;
  impl.remarks.clear();
  impl.records.resize(1);
  if (read_senml_line(line, impl.records.front())) return SenmlPack{impl.records, impl.remarks};
  impl.records.clear();
  impl.arena.clear();
  if (!impl.read(line, now)) return Failure{impl.fault};
  return SenmlPack{impl.records, impl.remarks};
}

namespace {

void append_text(std::string& line, std::string_view text) {
  constexpr std::string_view kHex = "0123456789abcdef";
  line += '"';
  for (const char c : text) {
    const auto code = static_cast<unsigned char>(c);
    if (c == '"' || c == '\\') {
      line += '\\';
      line += c;
    } else if (code < 0x20) {
      line += "\\u00";
      line += kHex[code >> 4U];
      line += kHex[code & 0xfU];
    } else {
      line += c;
    }
  }
  line += '"';
}

void append_time(std::string& line, Instant time) {
  auto ms = time.time_since_epoch().count();
  if (ms < 0) {
    line += '-';
    ms = -ms;
  }
  std::array<char, 24> digits;
  const auto end = std::to_chars(digits.data(), digits.data() + digits.size(), ms / 1000).ptr;
  line.append(digits.data(), end);
  const auto rest = ms % 1000;
  if (rest == 0) return;
  line += '.';
  line += static_cast<char>('0' + rest / 100);
  line += static_cast<char>('0' + rest / 10 % 10);
  line += static_cast<char>('0' + rest % 10);
}

}  // namespace

bool append_senml(std::string& line, const SenmlRecord& record) {
  if (!std::isfinite(record.value)) return false;
  line += "[{\"n\":";
  append_text(line, record.name);
  if (record.unit) {
    line += ",\"u\":";
    append_text(line, *record.unit);
  }
  line += record.is_sum ? ",\"s\":" : ",\"v\":";
  std::array<char, 32> digits;
  const auto end = std::to_chars(digits.data(), digits.data() + digits.size(), record.value).ptr;
  line.append(digits.data(), end);
  line += ",\"t\":";
  append_time(line, record.time);
  line += "}]";
  return true;
}

void append_senml_mark(std::string& line, std::string_view name, std::optional<Instant> time,
                       std::optional<std::string_view> text) {
  line += "[{\"n\":";
  append_text(line, name);
  if (time) {
    line += ",\"t\":";
    append_time(line, *time);
  }
  if (text) {
    line += ",\"vs\":";
    append_text(line, *text);
  }
  line += "}]";
}

}  // namespace underwing
