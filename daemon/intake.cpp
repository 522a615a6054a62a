#include "daemon/intake.hpp"

#include <fmt/format.h>

#include "rules/base/issue.hpp"

namespace underwing {

namespace {

constexpr std::size_t kStrangersMax = 1000;  // names kept apart; the rest is counted together

}  // namespace

Intake::Intake(const RuleSet& rules) : rules_(rules) {}

std::optional<Intake::Reading> Intake::refuse(const SenmlRecord& record, const std::string& text) {
  std::string name(record.name);
  if (!strangers_.contains(name) && strangers_.size() >= kStrangersMax) name = "(others)";
  Stranger& stranger = strangers_[name];
  ++stranger.count;
  stranger.text = text;
  return std::nullopt;
}

std::optional<Intake::Known> Intake::learn(const SenmlRecord& record) {
  const auto probe = rules_.find_probe(record.name);
  if (!probe) {
    std::vector<std::string> names;
    for (std::size_t i = 0; i < rules_.probes.size(); ++i) names.push_back(rules_.full_name(i));
    const auto near = nearest(record.name, names);
    refuse(record, near ? fmt::format("the farm names no such probe; did you mean '{}'?", *near) : "the farm names no such probe");
    return std::nullopt;
  }
  const Unit& target = rules_.probes[*probe].quality.unit;
  Known known{*probe, std::string(record.unit.value_or("")), 1, 0};
  if (record.unit) {
    const auto source = parse_senml_unit(*record.unit);
    const auto zero = source ? convert(0.0, *source, target) : std::nullopt;
    const auto one = source ? convert(1.0, *source, target) : std::nullopt;
    if (!zero || !one) {
      refuse(record, fmt::format("the unit '{}' does not fit, '{}' is wanted", *record.unit, target.text));
      return std::nullopt;
    }
    known.offset = *zero;
    known.factor = *one - *zero;
    if (source->text == target.text || (known.factor == 1.0 && known.offset == 0.0)) known.factor = 1.0, known.offset = 0.0;
  }
  return known;
}

Intake::Named* Intake::find(const SenmlRecord& record) {
  const auto fits = [&](const Named* named) {
    return named != nullptr && named->first == record.name && named->second.unit == record.unit.value_or("");
  };
  if (last_ != nullptr && fits(last_->second.follower)) return last_->second.follower;
  const auto place = known_.find(record.name);
  Named* found = place == known_.end() ? nullptr : &*place;
  if (!fits(found)) {
    const auto known = learn(record);
    if (!known) return nullptr;
    found = &*known_.insert_or_assign(std::string(record.name), *known).first;
  }
  if (last_ != nullptr) last_->second.follower = found;
  return found;
}

std::optional<Intake::Reading> Intake::read(const SenmlRecord& record) {
  Named* const found = find(record);
  if (found == nullptr) return std::nullopt;
  last_ = found;
  const Known& known = found->second;
  return Reading{known.probe, known.factor == 1.0 && known.offset == 0.0 ? record.value : record.value * known.factor + known.offset};
}

}  // namespace underwing
