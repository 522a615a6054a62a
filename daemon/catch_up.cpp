#include "daemon/catch_up.hpp"

#include "rules/engine/engine.hpp"

namespace underwing {

CatchUp::CatchUp(Watch& watch, const RuleSet& rules, std::string snapshot)
    : watch_(watch), player_(watch, rules), snapshot_(std::move(snapshot)), kept_(Watch::snapshot_time(snapshot_)),
      from_(kept_ - longest_span(rules)) {
  watch_.begin(from_);
  // What people entered holds longer than the tape is taken back.
  for (const Watch::Entered& entered : Watch::snapshot_entries(snapshot_)) {
    const auto probe = rules.find_probe(entered.probe);
    if (probe && entered.time < from_) watch_.reading(*probe, entered.time, entered.value);
  }
}

void CatchUp::take(std::string_view line) {
  if (!restored_ && player_.time_of(line) > kept_) restore();
  player_.play(line);
  if (!restored_) watch_.forget_effects();
}

bool CatchUp::finish() {
  if (!restored_) restore();
  return fits_;
}

void CatchUp::restore() {
  watch_.advance(kept_);
  watch_.forget_effects();
  fits_ = watch_.restore(snapshot_);
  restored_ = true;
  for (const Delivery& delivery : watch_.open_deliveries()) written_open_.insert(delivery.id);
}

std::vector<Delivery> CatchUp::on_their_way() const {
  std::vector<Delivery> deliveries = watch_.open_deliveries();
  std::erase_if(deliveries, [&](const Delivery& delivery) { return !written_open_.contains(delivery.id); });
  return deliveries;
}

}  // namespace underwing
