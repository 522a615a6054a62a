#include "daemon/tape_order.hpp"

#include <algorithm>

#include "daemon/senml_line.hpp"
#include "daemon/tape.hpp"

namespace underwing {

namespace {

/// The earliest absolute time of a line.
std::optional<Instant> first_time_of(const SenmlPack& pack) {
  std::optional<Instant> first;
  const auto see = [&](Instant time) {
    if (time >= Instant(std::chrono::seconds(kAbsolute_s))) first = std::min(first.value_or(time), time);
  };
  for (const SenmlRecord& record : pack.records) see(record.time);
  for (const SenmlRemark& remark : pack.remarks) see(remark.time);
  return first;
}

std::optional<Instant> begin_of(const std::filesystem::path& path) {
  std::error_code code;
  if (!std::filesystem::is_regular_file(path, code)) return std::nullopt;
  auto tape = TapeReader::open(path);
  if (!tape.ok()) return std::nullopt;
  SenmlParser parser;
  while (const auto line = tape->next()) {
    const auto pack = parser.parse(*line, Instant{});
    if (!pack.ok()) continue;
    if (const auto first = first_time_of(*pack)) return first;
  }
  return std::nullopt;
}

}  // namespace

std::vector<OrderedTape> in_order_of_time(const std::vector<std::filesystem::path>& tapes) {
  if (tapes.size() == 1) return {OrderedTape{tapes.front()}};
  struct Placed {
    Instant place{};
    OrderedTape tape;
  };
  std::vector<Placed> placed;
  for (const auto& path : tapes) {
    const auto begin = begin_of(path);
    placed.push_back({begin.value_or(placed.empty() ? Instant{} : placed.back().place), {path, begin}});
  }
  std::stable_sort(placed.begin(), placed.end(), [](const Placed& a, const Placed& b) { return a.place < b.place; });
  std::vector<OrderedTape> ordered;
  for (Placed& each : placed) ordered.push_back(std::move(each.tape));
  return ordered;
}

}  // namespace underwing
