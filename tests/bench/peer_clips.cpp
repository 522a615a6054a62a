// CLIPS at its best: a template for every measure, so that a reading only meets rules of its own; one fact a probe,
// put in the place of the last one; facts built through the interface, not from text.
#include <fmt/format.h>

#include "tests/bench/peer_rules.hpp"

extern "C" {
#include <clips/clips.h>
}

namespace underwing {

namespace {

std::string constructs() {
  std::string text = "(deftemplate stands (slot rule) (slot probe))\n";
  std::string known;
  for (const PeerRule& rule : kPeerRules) {
    if (known.find(std::string("/") + rule.measure + "/") == std::string::npos) {
      text += fmt::format("(deftemplate {} (slot probe) (slot value))\n", rule.measure);
      known += std::string("/") + rule.measure + "/";
    }
    text += fmt::format(
        "(defrule {0}-begins ({1} (probe ?p) (value ?v&:({2} ?v {3:.6f}))) (not (stands (rule {0}) (probe ?p)))"
        " => (assert (stands (rule {0}) (probe ?p))) (told {0} TRUE))\n"
        "(defrule {0}-ends ?s <- (stands (rule {0}) (probe ?p)) ({1} (probe ?p) (value ?v&:(not ({2} ?v {3:.6f}))))"
        " => (retract ?s) (told {0} FALSE))\n",
        rule.name, rule.measure, rule.low ? "<" : ">", rule.limit);
  }
  return text;
}

struct Heard {
  std::size_t reading = 0;
  Verdicts verdicts;
};

Heard* heard = nullptr;  // CLIPS calls a plain function

/// CLIPS wants an int of every function, and passes over that of one that gives nothing ('v').
int told(void* environment) {
  DATA_OBJECT rule, raised;
  EnvArgTypeCheck(environment, "told", 1, SYMBOL, &rule);
  EnvArgTypeCheck(environment, "told", 2, SYMBOL, &raised);
  heard->verdicts.push_back(verdict(heard->reading, DOToString(rule), std::string_view(DOToString(raised)) == "TRUE"));
  return 0;
}

}  // namespace

Peer run_clips(const RuleSet& rules, const std::vector<BenchReading>& readings) {
  Heard hearing;
  heard = &hearing;
  void* environment = CreateEnvironment();
  EnvDefineFunction2(environment, "told", 'v', told, "told", "22k");
  const std::string text = constructs();
  // One construct a line; EnvBuild takes one at a time.
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = text.find('\n', at);
    if (!EnvBuild(environment, text.substr(at, end - at).c_str())) return {0, 0, {}, "CLIPS refuses a rule"};
    at = end + 1;
  }
  std::vector<void*> templates, facts(rules.probes.size(), nullptr);
  for (const Probe& probe : rules.probes) {
    templates.push_back(EnvFindDeftemplate(environment, rules.measures[probe.measure].name.c_str()));
  }
  const double begin = cpu_seconds();
  for (std::size_t i = 0; i < readings.size(); ++i) {
    const BenchReading& reading = readings[i];
    void* const kind = templates[reading.probe];
    if (kind == nullptr) continue;  // no rule speaks of it
    hearing.reading = i;
    if (facts[reading.probe] != nullptr) EnvRetract(environment, facts[reading.probe]);
    void* fact = EnvCreateFact(environment, kind);
    DATA_OBJECT value;
    SetType(value, INTEGER);
    SetValue(value, EnvAddLong(environment, reading.probe));
    EnvPutFactSlot(environment, fact, "probe", &value);
    SetType(value, FLOAT);
    SetValue(value, EnvAddDouble(environment, reading.value));
    EnvPutFactSlot(environment, fact, "value", &value);
    facts[reading.probe] = EnvAssert(environment, fact);
    EnvRun(environment, -1);
  }
  const double taken = cpu_seconds() - begin;
  DestroyEnvironment(environment);
  return {readings.size(), taken, std::move(hearing.verdicts), ""};
}

}  // namespace underwing
