#pragma once

#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "rules/files/load.hpp"
#include "rules/files/read.hpp"
#include "rules/languages/language.hpp"

/// What single files say, read and judged by themselves, before they are held against each other. Drafts
/// point into the YAML trees that they were read from, which must outlive them.
namespace underwing {

struct NamedNode {
  std::string name;
  const YamlNode* node = nullptr;  ///< where the name stands
};

struct ProbesDraft {
  std::string measure;
  const YamlNode* key = nullptr;
  std::vector<NamedNode> probes;
};

struct HouseDraft {
  std::string name;
  const YamlNode* key = nullptr;
  std::vector<ProbesDraft> probes;
  const YamlNode* volume = nullptr;  ///< null: not given, or wrong
  std::optional<double> volume_m3;
  const YamlNode* time_constant_node = nullptr;
  std::optional<Duration> time_constant;
  std::optional<double> outside_c;
};

struct FarmDraft {
  Farm farm;
  std::vector<HouseDraft> houses;  ///< in the order of the file
  std::vector<NamedNode> packs;
  std::vector<NamedNode> languages;  ///< of the farm and its people
  const YamlNode* root = nullptr;
};

/// Reads farm.yaml. Everything that concerns people, duty, call-out and plugins is judged whole here.
[[nodiscard]] FarmDraft read_farm(const YamlNode& root, const ZoneSource& zones, IssueLog& log);

struct LanguageDraft {
  std::string name;
  const YamlNode* root = nullptr;
  std::shared_ptr<Language> language;
  std::vector<const YamlNode*> measures;  ///< keys of `measures` and `wrong`, to be held against the farm's
};

/// Reads a language's file: every text there, with the right slots, in the alphabet of text messages, and short
/// enough.
[[nodiscard]] LanguageDraft read_language(const YamlNode& root, IssueLog& log);

struct CountingDraft {
  NamedNode probe;
  Duration from{};
};

struct FlockDraft {
  Flock flock;  ///< `house` and `counts_from` are not set yet
  std::optional<NamedNode> name;
  std::optional<NamedNode> house;
  const YamlNode* placed = nullptr;  ///< null: missing or wrong
  std::vector<NamedNode> packs;
  std::vector<CountingDraft> counting;
  const YamlNode* adjust = nullptr;
};

[[nodiscard]] FlockDraft read_flock(const YamlNode& root, const Zone& zone, IssueLog& log);

struct MeasureDraft {
  std::string name;
  const YamlNode* key = nullptr;
  Fields fields;  ///< what stands there; read when the unit is known
};

struct CurveDraft {
  const YamlNode* key = nullptr;
  std::shared_ptr<const Curve> curve;  ///< null: wrong, which has been said
};

struct ValueDraft {
  const YamlNode* key = nullptr;
  std::optional<WrittenExpression> expression;
  std::string words{};  ///< how sentences speak of it
};

struct LimitDraft {
  Limit::Side side = Limit::Side::low;
  Priority priority = Priority::note;
  WrittenExpression expression;
};

struct RuleDraft {
  const YamlNode* key = nullptr;
  const YamlNode* map = nullptr;
  WatchedRule rule;  ///< texts, delays and ages; no expressions yet
  std::optional<WrittenExpression> watch;
  std::vector<LimitDraft> limits;  ///< `when` is one of them
  std::optional<WrittenExpression> only_if;
  bool each_probe = false;
  const YamlNode* each = nullptr;
  std::optional<Quantity> deadband;
  const YamlNode* deadband_node = nullptr;
  std::vector<NamedNode> follows;
};

struct PackDraft {
  std::string name;
  const YamlNode* root = nullptr;
  bool shipped = false;
  std::vector<MeasureDraft> measures;
  std::map<std::string, CurveDraft> curves;
  std::map<std::string, ValueDraft> values;
  std::vector<RuleDraft> rules;
};

/// Reads a pack, as it stands or after a flock's adjustments.
[[nodiscard]] PackDraft read_pack(const YamlNode& root, IssueLog& log);
[[nodiscard]] RuleDraft read_rule(const YamlNode::Entry& entry, IssueLog& log);

/// Puts a flock's `adjust` into the trees of its packs, key by key. What names nothing is reported, unless
/// the packs are not `complete`. Returns the adjusted trees in the order given; measures that no pack names
/// are put into the first one.
[[nodiscard]] std::vector<YamlNode> adjusted(const std::vector<const YamlNode*>& packs,
                                             const YamlNode& adjust, const std::vector<Measure>& measures,
                                             bool complete, IssueLog& log);

/// All measures of a farm: the built-in ones, changed and added to by packs. Sorted by name.
[[nodiscard]] std::vector<Measure> read_measures(const std::vector<const PackDraft*>& packs, IssueLog& log);

/// Lays what one pack says of a measure over it; values are converted to the measure's unit.
void apply_measure(Measure& measure, const MeasureDraft& draft, IssueLog& log);

}  // namespace underwing
