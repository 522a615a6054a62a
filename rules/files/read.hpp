#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "rules/base/units.hpp"
#include "rules/base/zone.hpp"
#include "rules/files/keys.hpp"
#include "rules/files/yaml_tree.hpp"
#include "rules/language/syntax.hpp"
#include "rules/model.hpp"

/// Reads single nodes strictly: what does not fit is reported to the log and gives nullopt. Nodes that are
/// `wrong` have been reported before and give nullopt silently.
namespace underwing {

void report(IssueLog& log, const YamlNode& at, std::string text);
void report_caution(IssueLog& log, const YamlNode& at, std::string text);
void report_danger(IssueLog& log, const YamlNode& at, std::string text);
/// Appends "; did you mean '…'?" where a candidate is near.
[[nodiscard]] std::string with_nearest(std::string text, std::string_view word,
                                       const std::vector<std::string>& candidates);

/// A map's entries, looked up by the keys of its table.
class Fields {
 public:
  Fields(const YamlNode& map) : map_(&map) {}
  [[nodiscard]] const YamlNode& map() const { return *map_; }
  [[nodiscard]] const YamlNode* value(std::string_view key) const;
  [[nodiscard]] const YamlNode* key(std::string_view key) const;
  [[nodiscard]] bool has(std::string_view key) const { return value(key) != nullptr; }

 private:
  const YamlNode* map_;
};

/// Checks that the node is a map and holds only keys of the table, and all that the table requires.
/// Unknown and missing keys are reported; the rest can be read all the same.
[[nodiscard]] std::optional<Fields> read_fields(const YamlNode& node, const KeyTable& table, IssueLog& log);

/// The node's entries where it is a map; null (reported) where it is not. `what`: "houses".
[[nodiscard]] const YamlNode* read_map(const YamlNode& node, std::string_view what, IssueLog& log);

/// One node, or the items of a list.
[[nodiscard]] std::vector<const YamlNode*> one_or_list(const YamlNode& node);

[[nodiscard]] std::optional<std::string> read_text(const YamlNode& node, IssueLog& log);
/// A text all of whose characters a text message has.
[[nodiscard]] std::optional<std::string> read_gsm_text(const YamlNode& node, IssueLog& log);
enum class NameKind { plain, with_hyphens };
/// A name: `[a-z][a-z0-9_]*`, with hyphens where they are allowed.
[[nodiscard]] std::optional<std::string> read_name(const YamlNode& node, IssueLog& log,
                                                   NameKind kind = NameKind::with_hyphens);
[[nodiscard]] std::optional<bool> read_boolean(const YamlNode& node, IssueLog& log);
[[nodiscard]] std::optional<double> read_number(const YamlNode& node, IssueLog& log);
[[nodiscard]] std::optional<std::size_t> read_one_of(const YamlNode& node,
                                                     const std::vector<std::string_view>& words,
                                                     IssueLog& log);
[[nodiscard]] std::optional<Unit> read_unit(const YamlNode& node, IssueLog& log);

struct Quantity {
  double value = 0;  ///< as written
  Unit unit;         ///< none: a plain number
  [[nodiscard]] double canonical() const { return unit.to_canonical(value); }
};
[[nodiscard]] std::optional<Quantity> read_quantity(const YamlNode& node, IssueLog& log);

enum class Sign { any, not_negative, positive };
/// `5 min`, `-24 h`, `45min`; whole milliseconds.
[[nodiscard]] std::optional<Duration> read_duration(const YamlNode& node, Sign sign, IssueLog& log);

/// "20:00": since local midnight; 24:00 is allowed as an end.
[[nodiscard]] std::optional<Duration> read_time_of_day(const YamlNode& node, IssueLog& log);
/// "05:30-21:30".
[[nodiscard]] std::optional<std::pair<Duration, Duration>> read_hours(const YamlNode& node, IssueLog& log);
/// "2026-03-02 09:30", with "first" or "second" where clocks repeat it. A zone without a name is not known;
/// then only the form is judged.
[[nodiscard]] std::optional<Instant> read_local_time(const YamlNode& node, const Zone& zone, IssueLog& log);
/// "2026-03-07", "2026-03-07 to 2026-03-10", a list of them; each with its first and last date.
[[nodiscard]] std::optional<std::vector<std::pair<std::chrono::sys_days, std::chrono::sys_days>>> read_dates(
    const YamlNode& node, IssueLog& log);
/// "Mon-Fri", "Sat, Sun", a list of them; bit 0 is Monday.
[[nodiscard]] std::optional<std::uint8_t> read_days(const YamlNode& node, IssueLog& log);
[[nodiscard]] std::optional<std::vector<Way>> read_ways(const YamlNode& node, IssueLog& log);
[[nodiscard]] std::optional<Priority> read_priority(const YamlNode& node, IssueLog& log);

/// `format: 1`, of every file.
void check_format(const Fields& fields, IssueLog& log);

/// An expression of a file: its tree, and the node that maps its places back.
struct WrittenExpression {
  std::shared_ptr<const Syntax> syntax;  ///< null: wrong, which has been said
  const YamlNode* node = nullptr;
  std::string text;
};
[[nodiscard]] std::optional<WrittenExpression> read_expression(const YamlNode& node, IssueLog& log);
/// Reports a problem inside an expression at its place in the file.
void report(IssueLog& log, const YamlNode& expression, const Problem& problem);

}  // namespace underwing
