#include "daemon/tape_keep.hpp"

#include <system_error>

#include "daemon/tape.hpp"

namespace underwing {

namespace {

constexpr std::size_t kHourLength = 13;  // "2026-03-02T02"

struct Kept {
  std::filesystem::path path;
  std::string hour;
  std::uint64_t bytes = 0;
};

}  // namespace

TapesForgotten forget_tapes(const std::filesystem::path& folder, const TapeKeep& keep, Instant now, Instant needed_from) {
  std::vector<Kept> tapes;
  std::uint64_t left = 0;
  std::error_code code;
  for (const auto& path : list_tapes(folder)) {
    const std::uint64_t bytes = std::filesystem::file_size(path, code);
    if (code) continue;
    tapes.push_back({path, path.filename().string().substr(0, kHourLength), bytes});
    left += bytes;
  }
  const std::string old = tape_hour(now - keep.age), needed = tape_hour(std::min(now, needed_from));
  TapesForgotten forgotten;
  for (const Kept& tape : tapes) {
    if (tape.hour >= needed || (tape.hour >= old && left <= keep.bytes)) break;
    if (!std::filesystem::remove(tape.path, code)) continue;
    ++forgotten.count;
    forgotten.bytes += tape.bytes;
    left -= tape.bytes;
  }
  forgotten.over_size = left > keep.bytes;
  return forgotten;
}

}  // namespace underwing
