#pragma once

#include <deque>
#include <map>
#include <memory>
#include <set>
#include <span>
#include <string>
#include <vector>

#include "rules/files/drafts.hpp"
#include "rules/files/reach.hpp"
#include "rules/files/resolve.hpp"
#include "rules/files/rule_cautions.hpp"

namespace underwing {

/// Judges a pack that no flock and no farm is known for: names that are near to none may come from elsewhere.
void judge_alone(const PackDraft& pack, const std::vector<Measure>& measures, IssueLog& log);

/// Brings the files of a farm together. Used once.
class FarmLoader {
 public:
  FarmLoader(const FarmFiles& files, const ZoneSource& zones) : files_(files), zones_(zones) {}
  [[nodiscard]] Loaded run();

 private:
  struct PackFile {
    const YamlNode* root = nullptr;
    bool shipped = false;
    bool named = false;  ///< by a flock or the farm
    PackDraft draft;
  };
  struct FlockFile {
    const YamlNode* root = nullptr;
    FlockDraft draft;
    std::optional<std::size_t> house;
    std::size_t index = 0;  ///< into RuleSet::flocks
  };
  /// Packs that are resolved together, in one house.
  struct Setting {
    std::size_t house = 0;
    const FlockFile* flock = nullptr;  ///< null: packs of the farm
    std::vector<const PackDraft*> packs;
    std::vector<const YamlNode*> named_at;  ///< where each pack is named
  };
  /// A rule as it was put in force in a house, with what is written of it.
  struct Placed {
    const RuleDraft* draft = nullptr;
    std::size_t rule = 0;  ///< index into RuleSet::rules as long as they are not sorted
    const FlockFile* flock = nullptr;
    std::optional<Level> level;  ///< of what it watches
  };
  using RuleNames = std::map<std::string, const PackDraft*>;

  const YamlNode& open(const std::string& path, const std::string& text);
  void open_packs();
  void open_farm();
  void open_flocks();
  void open_languages();
  void judge_languages();
  void name_packs(const std::vector<NamedNode>& names);
  std::vector<std::string> pack_names() const;

  void build_houses();
  void build_probes(const HouseDraft& draft);
  void build_flocks();
  void judge_overlaps();
  void set_counting(const FlockFile& flock);
  void adjust_probes(std::size_t house, const std::vector<const PackDraft*>& packs);

  void resolve_farm_packs();
  void resolve_flock(FlockFile& flock);
  void resolve(const Setting& setting);
  RuleNames rule_names(const Setting& setting);
  void add_rule(const Setting& setting, const Scope& scope, const RuleDraft& draft, const RuleNames& names,
                std::map<std::string, std::set<std::string>>& missing);
  Scope scope_in(const Setting& setting, std::size_t pack);
  void set_follows(WatchedRule& rule, const RuleDraft& draft, const RuleNames& names);
  [[nodiscard]] std::optional<Duration> sees_from(const FlockFile& flock, std::span<const std::size_t> probes) const;
  void judge_circles(const Setting& setting, const RuleNames& names);
  void report_missing(const Setting& setting, std::size_t pack,
                      const std::map<std::string, std::set<std::string>>& missing);

  // farm_cautions.cpp, farm_cautions_limits.cpp: what is odd, but not wrong
  void judge_heartbeat();
  void judge_use();
  void judge_endings();
  void judge_limits();
  void judge_light(const Placed& placed);
  void judge_warmth(const Placed& placed);
  Target target_for(const Placed& placed, std::size_t flock);
  const YamlNode* points_of(const Curve& curve) const;
  void judge_opposites(const Placed& low, const Placed& high);
  enum class Trouble { heat, cold };
  void judge_wakers(const FlockFile& flock, Trouble trouble);
  [[nodiscard]] bool wakes(const Placed& placed, std::size_t air, Trouble trouble) const;

  // farm_cautions_time.cpp: whether people are there in time
  struct Stocked {
    std::size_t air = 0;                ///< index of the measure
    const Curve* weight = nullptr;      ///< of the birds by age
    const Curve* target = nullptr;      ///< of the air by age
    std::vector<const Placed*> rules;   ///< that watch over this flock, for the whole house
  };
  [[nodiscard]] std::optional<Stocked> stocked(const FlockFile& file) const;
  struct TimeLeft {
    double minutes = 0;   ///< from the first urgent alarm to harm
    std::string course;   ///< of the air, in words
  };
  [[nodiscard]] std::optional<TimeLeft> time_left(const Stocked& house, const FlockFile& flock, Duration age, const std::vector<double>& air,
                                                  Limit::Side side) const;
  void judge_time_left(const FlockFile& flock);
  void report_time_left(const House& house, Limit::Side side, const std::string& who, double minutes, const std::string& course);

  void finish();

  const FarmFiles& files_;
  const ZoneSource& zones_;
  IssueLog log_;
  std::deque<Source> sources_;
  std::deque<YamlNode> trees_;
  std::deque<PackDraft> adjusted_;  ///< packs as a flock adjusts them
  std::map<std::string, PackFile> packs_;
  std::map<std::string, LanguageDraft> languages_;  ///< those that are the farm's own or that somebody speaks
  std::deque<FlockFile> flocks_;
  FarmDraft farm_;
  bool farm_read_ = false;
  bool packs_read_ = true;  ///< false: a pack's file could not be read
  std::vector<const PackDraft*> farm_packs_;
  std::shared_ptr<RuleSet> set_ = std::make_shared<RuleSet>();
  std::set<std::pair<std::size_t, std::size_t>> used_;  ///< house, measure
  std::deque<Placed> placed_;  ///< one for each rule and house, also under `each: probe`
  std::map<std::size_t, std::vector<const Placed*>> in_house_;
  std::set<std::string> used_curves_;  ///< names; an adjusted curve is still that of its pack
  std::set<std::pair<std::size_t, Duration>> endings_;  ///< flock and age; said to have nothing after them
  std::set<std::size_t> watched_houses_;                ///< those for which rules were resolved
};

}  // namespace underwing
