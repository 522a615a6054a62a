#include "rules/files/table.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>

#include "rules/files/read.hpp"

namespace underwing {
namespace {

constexpr double kOldest_d = 400;

struct Cell {
  std::string text;
  std::size_t offset = 0;
};

/// The cells of a line, without the blanks around them.
std::vector<Cell> cells_of(std::string_view line, std::size_t offset) {
  std::vector<Cell> cells;
  for (std::size_t at = 0; at <= line.size();) {
    const std::size_t end = std::min(line.find_first_of(",;\t", at), line.size());
    std::size_t from = at, to = end;
    while (from < to && std::isspace(static_cast<unsigned char>(line[from])) != 0) ++from;
    while (to > from && std::isspace(static_cast<unsigned char>(line[to - 1])) != 0) --to;
    cells.push_back({std::string(line.substr(from, to - from)), offset + from});
    at = end + 1;
  }
  return cells;
}

std::optional<double> number_in(const std::string& text) {
  if (text.empty() || text.find_first_not_of("+-.0123456789") != std::string::npos) return std::nullopt;
  char* end = nullptr;
  const double value = std::strtod(text.c_str(), &end);
  return end == text.c_str() + text.size() ? std::optional(value) : std::nullopt;
}

YamlNode scalar(const Source& source, const Cell& cell, std::string text) {
  YamlNode node;
  node.kind = YamlNode::Kind::scalar;
  node.text = std::move(text);
  node.source = &source;
  node.offset = cell.offset;
  node.length = std::max<std::size_t>(1, cell.text.size());
  return node;
}

class TableReader {
 public:
  TableReader(const Source& source, IssueLog& log) : source_(source), log_(log) {}

  YamlNode run(const YamlNode& named) {
    YamlNode points = named;
    points.kind = YamlNode::Kind::map;
    points.text.clear();
    const std::string& text = source_.text();
    for (std::size_t at = 0; at < text.size();) {
      const std::size_t end = std::min(text.find('\n', at), text.size());
      read_line(points, std::string_view(text).substr(at, end - at), at);
      at = end + 1;
    }
    if (points.entries.empty() && fine_)
      log_.error(source_, 0, 1, "this table has no row; a row is an age in days and a value, as in 7,190");
    if (!fine_ || points.entries.empty()) points.kind = YamlNode::Kind::wrong;
    return points;
  }

 private:
  void read_line(YamlNode& points, std::string_view line, std::size_t offset) {
    const std::vector<Cell> cells = cells_of(line, offset);
    if (cells.size() == 1 && cells[0].text.empty()) return;
    if (cells[0].text.starts_with('#')) return;
    const bool head = first_ && !number_in(cells[0].text) && !cells[0].text.empty();
    first_ = false;
    if (head) return;
    if (cells.size() != 2) return wrong(cells[0], fmt::format("a row is an age in days and a value, as in 7,190; here {} {}", cells.size() == 1 ? "stands" : "stand", cells.size()));
    const auto age_d = number_in(cells[0].text);
    if (!age_d || std::fabs(*age_d) > kOldest_d) return wrong(cells[0], fmt::format("'{}' is no age in days, as in 7 or 7.5", cells[0].text));
    if (!number_in(cells[1].text)) return wrong(cells[1], fmt::format("'{}' is no number", cells[1].text));
    points.entries.push_back({scalar(source_, cells[0], fmt::format("{} min", std::llround(*age_d * 1440))), scalar(source_, cells[1], cells[1].text)});
  }

  void wrong(const Cell& at, std::string text) {
    log_.error(source_, at.offset, std::max<std::size_t>(1, at.text.size()), std::move(text));
    fine_ = false;
  }

  const Source& source_;
  IssueLog& log_;
  bool first_ = true;
  bool fine_ = true;
};

/// "farm/growth/own.csv" for "growth/own.csv" beside "farm/farm.yaml".
std::string path_beside(const std::string& farm_path, const std::string& name) {
  const std::size_t slash = farm_path.rfind('/');
  return slash == std::string::npos ? name : farm_path.substr(0, slash + 1) + name;
}

}  // namespace

bool names_table(const YamlNode& node) { return node.is_scalar() && node.text.ends_with(".csv"); }

void put_tables(YamlNode& root, const FarmFiles& files, std::deque<Source>& sources, IssueLog& log) {
  for (YamlNode::Entry& entry : root.entries) {
    if (entry.key.text != "points" || !names_table(entry.value)) {
      put_tables(entry.value, files, sources, log);
      continue;
    }
    const auto found = files.tables.find(path_beside(files.farm_path, entry.value.text));
    if (found == files.tables.end()) {
      report(log, entry.value, fmt::format("there is no table '{}'; tables lie in the farm's folder 'growth', as in growth/own.csv", entry.value.text));
      entry.value.kind = YamlNode::Kind::wrong;
      continue;
    }
    sources.emplace_back(found->first, found->second);
    entry.value = TableReader(sources.back(), log).run(entry.value);
  }
}

}  // namespace underwing
