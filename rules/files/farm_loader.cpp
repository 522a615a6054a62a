#include "rules/files/farm_loader.hpp"
#include "rules/files/table.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <tuple>

namespace underwing {
namespace {

/// 64-bit FNV-1a (IETF draft-eastlake-fnv), over texts with a zero byte between them.
class Hash {
 public:
  void add(const std::string& text) {
    for (const char c : text) byte(static_cast<unsigned char>(c));
    byte(0);
  }
  [[nodiscard]] std::string hex() const { return fmt::format("{:016x}", value_); }

 private:
  void byte(unsigned char c) { value_ = (value_ ^ c) * 0x100000001b3ull; }
  std::uint64_t value_ = 0xcbf29ce484222325ull;
};

}  // namespace

void judge_alone(const PackDraft& pack, const std::vector<Measure>& measures, IssueLog& log) {
  Scope scope = scope_of(pack, {}, measures, log);
  scope.whole = false;
  judge_values(pack, scope, log);
  for (const RuleDraft& rule : pack.rules) (void)resolve_rule(rule, scope, {}, log);
}

const YamlNode& FarmLoader::open(const std::string& path, const std::string& text) {
  sources_.emplace_back(path, text);
  trees_.push_back(read_yaml(sources_.back(), log_));
  put_tables(trees_.back(), files_, sources_, log_);
  return trees_.back();
}

void FarmLoader::open_packs() {
  for (const auto& [path, text] : files_.packs) {
    const YamlNode& root = open(path, text);
    if (root.kind == YamlNode::Kind::wrong) packs_read_ = false;
    if (root.kind == YamlNode::Kind::wrong) continue;
    PackDraft draft = read_pack(root, log_);
    if (draft.name.empty()) {
      packs_read_ = false;
      continue;
    }
    const std::string name = draft.name;
    if (packs_.contains(name)) {
      report(log_, root.find("pack")->value,
             fmt::format("pack '{}' stands in {} already", name, packs_[name].root->source->path()));
      continue;
    }
    packs_[name] = PackFile{&root, false, false, std::move(draft)};
  }
  // A shipped pack is opened for its name only; it is judged when somebody names it.
  for (const auto& [path, text] : files_.shipped) {
    const YamlNode& root = open(path, text);
    const YamlNode::Entry* name = root.find("pack");
    if (name == nullptr || !name->value.is_scalar() || packs_.contains(name->value.text)) continue;
    PackFile file;
    file.root = &root;
    file.shipped = true;
    packs_[name->value.text] = std::move(file);
  }
}

void FarmLoader::open_farm() {
  const YamlNode& root = open(files_.farm_path, files_.farm_text);
  farm_ = read_farm(root, zones_, log_);
  farm_read_ = root.is_map() && root.find("houses") != nullptr && root.find("houses")->value.is_map();
  set_->farm = farm_.farm;
  name_packs(farm_.packs);
}

void FarmLoader::open_flocks() {
  for (const auto& [path, text] : files_.flocks) {
    FlockFile flock;
    flock.root = &open(path, text);
    if (flock.root->kind == YamlNode::Kind::wrong) continue;
    flock.draft = read_flock(*flock.root, set_->farm.zone, log_);
    flocks_.push_back(std::move(flock));
    name_packs(flocks_.back().draft.packs);
  }
}

std::vector<std::string> FarmLoader::pack_names() const {
  std::vector<std::string> names;
  for (const auto& [name, file] : packs_) names.push_back(name);
  return names;
}

void FarmLoader::name_packs(const std::vector<NamedNode>& names) {
  std::set<std::string> seen;
  for (const NamedNode& named : names) {
    if (!seen.insert(named.name).second) {
      report(log_, *named.node, fmt::format("pack '{}' stands here twice", named.name));
    }
    const auto found = packs_.find(named.name);
    if (found == packs_.end()) {
      if (packs_read_)
        report(log_, *named.node,
               with_nearest(fmt::format("no pack named '{}'", named.name), named.name, pack_names()));
      continue;
    }
    PackFile& file = found->second;
    if (file.shipped && !file.named) {
      file.draft = read_pack(*file.root, log_);
      file.draft.shipped = true;
    }
    file.named = true;
  }
}

void FarmLoader::build_houses() {
  std::vector<HouseDraft> sorted = farm_.houses;
  std::sort(sorted.begin(), sorted.end(),
            [](const HouseDraft& a, const HouseDraft& b) { return a.name < b.name; });
  for (const HouseDraft& draft : sorted) {
    set_->houses.push_back({draft.name, {}, draft.volume_m3, draft.time_constant, draft.outside_c});
    build_probes(draft);
  }
}

void FarmLoader::build_probes(const HouseDraft& draft) {
  std::vector<std::string> known;
  for (const Measure& measure : set_->measures) known.push_back(measure.name);
  std::vector<ProbesDraft> sorted = draft.probes;
  std::sort(sorted.begin(), sorted.end(),
            [](const ProbesDraft& a, const ProbesDraft& b) { return a.measure < b.measure; });
  House& house = set_->houses.back();
  for (ProbesDraft& probes : sorted) {
    const auto measure = set_->find_measure(probes.measure);
    if (!measure) {
      if (packs_read_)
        report(log_, *probes.key,
               with_nearest(fmt::format("no measure named '{}'", probes.measure), probes.measure, known));
      continue;
    }
    std::sort(probes.probes.begin(), probes.probes.end(),
              [](const NamedNode& a, const NamedNode& b) { return a.name < b.name; });
    for (const NamedNode& probe : probes.probes) {
      house.probes[*measure].push_back(set_->probes.size());
      set_->probes.push_back({set_->houses.size() - 1, *measure, probe.name, set_->measures[*measure]});
    }
  }
}

void FarmLoader::build_flocks() {
  std::vector<std::string> houses;
  for (const House& house : set_->houses) houses.push_back(house.name);
  std::sort(flocks_.begin(), flocks_.end(),
            [](const FlockFile& a, const FlockFile& b) { return a.draft.flock.name < b.draft.flock.name; });
  for (FlockFile& flock : flocks_) {
    const FlockDraft& draft = flock.draft;
    if (draft.name && !set_->flocks.empty() && set_->flocks.back().name == draft.flock.name) {
      report(log_, *draft.name->node, fmt::format("another flock is named '{}' already", draft.flock.name));
    }
    if (draft.house && farm_read_) {
      flock.house = set_->find_house(draft.house->name);
      if (!flock.house) {
        report(log_, *draft.house->node,
               with_nearest(fmt::format("the farm has no house named '{}'", draft.house->name),
                            draft.house->name, houses));
      }
    }
    flock.index = set_->flocks.size();
    set_->flocks.push_back(draft.flock);
    set_->flocks.back().house = flock.house.value_or(0);
    if (flock.house) set_counting(flock);
  }
  judge_overlaps();
}

/// Names under counts_from are of probes in the flock's house; one name may be that of several measures' probes.
void FarmLoader::set_counting(const FlockFile& flock) {
  std::vector<std::string> names;
  std::vector<std::size_t> named;
  for (const auto& [measure, probes] : set_->houses[*flock.house].probes) {
    const MeasureKind kind = set_->measures[measure].kind;
    if (kind == MeasureKind::tally || kind == MeasureKind::round) continue;  // what people find always counts
    for (const std::size_t probe : probes) {
      names.push_back(set_->probes[probe].name);
      named.push_back(probe);
    }
  }
  for (const CountingDraft& draft : flock.draft.counting) {
    bool found = false;
    for (std::size_t i = 0; i < names.size(); ++i) {
      if (names[i] != draft.probe.name) continue;
      set_->flocks.back().counts_from[named[i]] = draft.from;
      found = true;
    }
    if (found) continue;
    report(log_, *draft.probe.node,
           with_nearest(fmt::format("{} has no probe named '{}' that measures by itself", set_->houses[*flock.house].name, draft.probe.name),
                        draft.probe.name, names));
  }
}

void FarmLoader::judge_overlaps() {
  for (const FlockFile& later : flocks_) {
    for (const FlockFile& earlier : flocks_) {
      if (&later == &earlier || !later.house || later.house != earlier.house) continue;
      if (later.draft.placed == nullptr || earlier.draft.placed == nullptr) continue;
      const Flock& first = earlier.draft.flock;
      const Flock& second = later.draft.flock;
      // Of two placed at once, the one that comes later by name is reported.
      if (first.placed > second.placed || (first.placed == second.placed && first.name >= second.name))
        continue;
      if (first.cleared && *first.cleared <= second.placed) continue;
      const char* why = first.cleared ? "is cleared only later" : "has no 'cleared'";
      report(log_, *later.draft.placed,
             fmt::format("two flocks would be in {} at once: '{}' was placed before and {}",
                         later.draft.house->name, first.name, why));
    }
  }
}

void FarmLoader::adjust_probes(std::size_t house, const std::vector<const PackDraft*>& packs) {
  IssueLog said_before;  // Packs were judged when the measures were read.
  for (const PackDraft* pack : packs) {
    for (const MeasureDraft& draft : pack->measures) {
      const auto measure = set_->find_measure(draft.name);
      if (!measure) continue;
      for (Probe& probe : set_->probes) {
        if (probe.house == house && probe.measure == *measure)
          apply_measure(probe.quality, draft, said_before);
      }
    }
  }
}

namespace {

bool contains(const std::vector<const PackDraft*>& packs, const PackDraft* pack) { return std::find(packs.begin(), packs.end(), pack) != packs.end(); }

}  // namespace

void FarmLoader::resolve_farm_packs() {
  Setting setting;
  for (const NamedNode& named : farm_.packs) {
    const auto found = packs_.find(named.name);
    if (found == packs_.end() || contains(setting.packs, &found->second.draft)) continue;
    const PackDraft& pack = found->second.draft;
    // Said once, and not of each of its rules; of a single one the place itself says more.
    if (std::count_if(pack.rules.begin(), pack.rules.end(), [](const RuleDraft& draft) { return draft.rule.from || draft.rule.until; }) > 1) {
      report(log_, *named.node, fmt::format("pack '{}' goes by the age of a flock, and a farm has none; it belongs into the files of the flocks", named.name));
      continue;
    }
    setting.packs.push_back(&pack);
    setting.named_at.push_back(named.node);
  }
  farm_packs_ = setting.packs;
  for (std::size_t house = 0; house < set_->houses.size(); ++house) {
    setting.house = house;
    adjust_probes(house, setting.packs);
    if (!setting.packs.empty()) resolve(setting);
  }
}

void FarmLoader::resolve_flock(FlockFile& flock) {
  Setting setting;
  setting.flock = &flock;
  std::vector<const YamlNode*> roots;
  for (const NamedNode& named : flock.draft.packs) {
    const auto found = packs_.find(named.name);
    if (found == packs_.end() || contains(setting.packs, &found->second.draft)) continue;
    if (contains(farm_packs_, &found->second.draft)) {
      report(log_, *named.node, fmt::format("the farm names pack '{}' for all its houses already", named.name));
      continue;
    }
    roots.push_back(found->second.root);
    setting.packs.push_back(&found->second.draft);
    setting.named_at.push_back(named.node);
  }
  if (flock.draft.adjust != nullptr) {
    const bool complete = roots.size() == flock.draft.packs.size() && packs_read_;
    log_.blame(flock.draft.adjust->source->path(), files_.shipped);
    std::vector<YamlNode> trees = adjusted(roots, *flock.draft.adjust, set_->measures, complete, log_);
    for (std::size_t i = 0; i < trees.size(); ++i) {
      trees_.push_back(std::move(trees[i]));
      adjusted_.push_back(read_pack(trees_.back(), log_));
      adjusted_.back().shipped = setting.packs[i]->shipped;
      setting.packs[i] = &adjusted_.back();
      for (const MeasureDraft& draft : adjusted_.back().measures) {
        if (const auto measure = set_->find_measure(draft.name)) {
          Measure copy = set_->measures[*measure];
          apply_measure(copy, draft, log_);
        }
      }
    }
  }
  if (!flock.house) {
    for (const PackDraft* pack : setting.packs) judge_alone(*pack, set_->measures, log_);
    log_.blame("", files_.shipped);
    return;
  }
  setting.house = *flock.house;
  adjust_probes(setting.house, setting.packs);
  resolve(setting);
  log_.blame("", files_.shipped);
}

void FarmLoader::finish() {
  auto& rules = set_->rules;
  std::sort(rules.begin(), rules.end(), [](const WatchedRule& a, const WatchedRule& b) {
    return std::tie(a.house, a.pack, a.name, a.probe, a.flock) <
           std::tie(b.house, b.pack, b.name, b.probe, b.flock);
  });
  Hash hash;
  hash.add(files_.farm_text);
  for (const auto& [path, text] : files_.flocks) hash.add(text);
  for (const auto& [path, text] : files_.packs) hash.add(text);
  for (const auto& [path, text] : files_.tables) hash.add(text);
  for (const auto& [name, file] : packs_) {
    if (file.shipped && file.named) hash.add(file.root->source->text());
  }
  for (const auto& [name, draft] : languages_) hash.add(draft.root->source->text());
  set_->hash = hash.hex();
}

Loaded FarmLoader::run() {
  open_packs();
  open_farm();
  open_languages();
  open_flocks();
  std::vector<const PackDraft*> judged;
  for (const auto& [name, file] : packs_) {
    if (!file.shipped || file.named) judged.push_back(&file.draft);
  }
  set_->measures = read_measures(judged, log_);
  judge_languages();
  build_houses();
  build_flocks();
  resolve_farm_packs();
  std::vector<FlockFile*> by_time;
  for (FlockFile& flock : flocks_) by_time.push_back(&flock);
  // Of two flocks that follow one another in a house, the later one has the last word on its probes.
  std::stable_sort(by_time.begin(), by_time.end(), [](const FlockFile* a, const FlockFile* b) {
    return a->draft.flock.placed < b->draft.flock.placed;
  });
  for (FlockFile* flock : by_time) resolve_flock(*flock);
  for (const auto& [name, file] : packs_) {
    if (file.shipped || file.named) continue;
    judge_alone(file.draft, set_->measures, log_);
  }
  // Where something is wrong, what it leaves unused would only be an echo.
  if (!log_.has_errors()) {
    judge_heartbeat();
    judge_use();
    judge_endings();
    judge_limits();
  }
  finish();
  Loaded loaded;
  if (!log_.has_errors()) loaded.rules = set_;
  loaded.issues = log_.take();
  return loaded;
}

}  // namespace underwing
